// The page was painted from what the device keeps: at the start page's address the live one takes its place, if it comes
// before anybody has touched this one.
import { PREFIX, recall } from "./kept.js";

const screen = document.getElementById("screen");
const status = document.getElementById("status");
const TOUCHES = ["pointerdown", "keydown", "click", "focusin"];
const PATIENCE_MS = 2000;

async function freshen() {
  let touched = false;
  for (const name of TOUCHES) addEventListener(name, () => (touched = true), { once: true });
  try {
    const response = await fetch("/?live", { signal: AbortSignal.timeout(PATIENCE_MS) });
    const live = new DOMParser().parseFromString(await response.text(), "text/html");
    const start = live.getElementById("screen");
    // A screen from another address would stand under this one's.
    if (!response.ok || response.redirected || !start) throw new Error("not the start page");
    if (touched || document.activeElement !== document.body) throw new Error("too late");
    screen.replaceChildren(...start.childNodes);
    document.title = live.title;
    dispatchEvent(new Event("begun")); // whose page it is shows only now
  } catch {
    if (navigator.onLine && !screen.querySelector("[data-set-open]")) status.innerHTML = '<a href="/?live">Open the start page</a>';
  }
}

if (location.pathname === "/") freshen();
else if (location.pathname !== "/on-this-device") {
  const again = Object.assign(document.createElement("a"), { href: "", textContent: "Open it again" });
  status.replaceChildren(`No signal. This page needs the service; here is what is on this device.${homework()} `, again);
}

// What was typed for homework stays with the browser until a page of homework comes, and sends it.
function homework() {
  try {
    const { length } = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX) && recall(key.slice(PREFIX.length))?.draft);
    const are = length === 1 ? "One answer to homework is" : `${length} answers to homework are`;
    return length ? ` ${are} kept too, and sent once homework is opened with signal.` : "";
  } catch {
    return ""; // storage is switched off
  }
}
