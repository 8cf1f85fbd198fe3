// A Sitting's time, counted from when the page came: the device's clock may be wrong.
import { now } from "./homework.js";

const line = document.querySelector(".time-left");
const words = line.querySelector("[data-minutes]");
const end = performance.now() + line.dataset.left * 1000;
const clock = setInterval(tick, 1000);

async function tick() {
  const left = Math.floor((end - performance.now()) / 1000);
  words.textContent = left < 60 ? "Less than a minute left." : `${Math.floor(left / 60)} min left.`;
  if (left > 0) return;
  clearInterval(clock);
  await now();
  // An extension may have moved the end since this page came; what was filled in is saved, so the page may come anew.
  if (await lengthened()) location.reload();
  else words.textContent = "The time is over.";
}

async function lengthened() {
  try {
    const text = await (await fetch(location.href)).text();
    return new DOMParser().parseFromString(text, "text/html").querySelector(".time-left")?.dataset.left > 0;
  } catch {
    return false;
  }
}
