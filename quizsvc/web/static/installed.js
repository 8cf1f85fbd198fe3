// Brings the worker in, and lets a new version take over between sets.
const screen = document.getElementById("screen");
let registration = null;
// Lets other pages know that no set is open here any more.
let leave = null;

export async function install() {
  watch();
  new MutationObserver(watch).observe(screen, { childList: true });
  if (document.querySelector("[data-device]")) import("./live.js");
  if (!isSecureContext || !("serviceWorker" in navigator)) return;
  try {
    registration = await navigator.serviceWorker.register("/sw.js");
    registration.onupdatefound = coming;
    // One may have been found before anybody listened here.
    coming();
    takeOver();
    // A page that was on its way while the worker woke has none, and would not open again without signal.
    const { active } = registration;
    if (active && !navigator.serviceWorker.controller) active.postMessage("claim");
  } catch {
    unkept();
  }
}

// Refused by the browser, or there is no room: the service goes on with signal, and the device's screen says so.
const unkept = () => document.documentElement.classList.add("unkept");

const coming = () => registration.installing?.addEventListener("statechange", changed);

function changed({ target }) {
  if (target.state === "redundant" && !registration.active) unkept();
  takeOver();
}

function takeOver() {
  const { locks } = navigator;
  const ask = (lock) => lock && registration.waiting?.postMessage("take over");
  if (registration && locks) locks.request("set", { ifAvailable: true }, ask);
}

// While any page of this browser shows a question, the version stays as it is.
function watch() {
  const open = screen.querySelector("[data-question], [data-set-open]");
  if (open && !leave && navigator.locks) {
    const left = new Promise((resolve) => (leave = resolve));
    // Only when the lock is really given back can it be had for taking over.
    navigator.locks.request("set", { mode: "shared" }, () => left).then(takeOver);
  } else if (!open && leave) {
    leave();
    leave = null;
  }
}
