// The list of a work, and what would be handed in: true also of what was saved after the service made the page.
import { flush, LAST_SAVED, press, say, waiting } from "./homework.js";
import { PREFIX } from "./kept.js";

// Of this page, of a page before it in the same tab, of other tabs; and of a page that comes back from behind.
addEventListener("saved", anew);
if (lastSaved() > performance.timeOrigin) anew();
addEventListener("storage", ({ key, newValue }) => key && key.startsWith(PREFIX) && newValue === null && anew());
addEventListener("pageshow", ({ persisted }) => persisted && anew());
document.addEventListener("visibilitychange", () => document.hidden || anew());
document.addEventListener("submit", (event) => event.target.matches("[data-hand-in]") && handOver(event));

function lastSaved() {
  try {
    return sessionStorage.getItem(LAST_SAVED);
  } catch {
    return 0;
  }
}

async function anew() {
  const asked = performance.now();
  const old = document.querySelector("[data-states]");
  try {
    const reply = await fetch(location.href);
    const made = new DOMParser().parseFromString(await reply.text(), "text/html").querySelector("[data-states]");
    // One that was asked for later is shown already.
    if (asked < old.asked) return;
    old.asked = asked;
    if (!reply.ok || reply.redirected || !made) return location.reload();
    const focused = old.contains(document.activeElement) && document.activeElement;
    old.replaceChildren(...made.childNodes);
    if (!focused) return;
    const again = [...old.querySelectorAll(focused.localName)];
    (again.find((one) => one.textContent === focused.textContent) || again[0])?.focus();
  } catch {
    // no signal: the list stays as it was
  }
}

async function handOver(event) {
  const { submitter, target: form } = event;
  event.preventDefault();
  await flush();
  if (waiting().some(([, row]) => row.draft.work === form.dataset.handIn)) {
    return say("Some answers are not sent yet. Hand in once they are.");
  }
  form.elements.device_at.value = new Date().toISOString();
  press(form, submitter);
}
