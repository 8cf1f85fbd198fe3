// Brings the worker in, lets a new version take over between sets, and puts the live start page over the kept one.
const screen = document.getElementById("screen");
const status = document.getElementById("status");
const ALONE = ["/", "/on-this-device"];
let registration = null;
let leave = null; // lets other pages know that no set is open here any more

export async function install() {
  watch();
  new MutationObserver(watch).observe(screen, { childList: true });
  if (document.querySelector("[data-device]")) freshen();
  if (!isSecureContext || !("serviceWorker" in navigator)) return;
  try {
    registration = await navigator.serviceWorker.register("/sw.js");
    registration.addEventListener("updatefound", () => registration.installing.addEventListener("statechange", takeOver));
    takeOver();
  } catch {
    // Refused by the browser: the service goes on with signal, and the device's screen says so.
  }
}

function takeOver() {
  const { locks } = navigator;
  const ask = () => registration.waiting && registration.waiting.postMessage("take over");
  if (registration && locks) locks.request("set", { ifAvailable: true }, (lock) => lock && ask());
}

// While any page of this browser shows a question, the version stays as it is.
function watch() {
  const open = screen.querySelector("[data-question], [data-set-open]");
  if (open && !leave && navigator.locks) {
    navigator.locks.request("set", { mode: "shared" }, () => new Promise((resolve) => (leave = resolve)));
    leave = () => {};
  } else if (!open && leave) {
    leave();
    leave = null;
    takeOver();
  }
}

// The page was painted from what the device keeps.
async function freshen() {
  if (!ALONE.includes(location.pathname)) {
    status.textContent = "No signal. This page needs the service; here is what is on this device.";
  }
  if (location.pathname !== "/") return;
  let touched = false;
  for (const name of ["pointerdown", "keydown"]) addEventListener(name, () => (touched = true), { once: true });
  try {
    const response = await fetch("/?live", { signal: AbortSignal.timeout(2000) });
    const live = new DOMParser().parseFromString(await response.text(), "text/html");
    if (!response.ok || touched || document.activeElement !== document.body) throw new Error("too late");
    screen.replaceChildren(...live.getElementById("screen").childNodes);
    document.title = live.title;
  } catch {
    if (navigator.onLine && !leave) status.innerHTML = '<a href="/?live">Open the start page</a>';
  }
}
