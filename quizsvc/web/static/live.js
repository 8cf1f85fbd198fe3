// The page was painted from what the device keeps: at the start page's address the live one takes its place, if it comes
// before anybody has touched this one.
const screen = document.getElementById("screen");
const status = document.getElementById("status");

async function freshen() {
  if (!["/", "/on-this-device"].includes(location.pathname)) {
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
    if (navigator.onLine && !screen.querySelector("[data-set-open]")) status.innerHTML = '<a href="/?live">Open the start page</a>';
  }
}

freshen();
