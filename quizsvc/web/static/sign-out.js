// Leaving this device: what waits is offered to be sent first; then everything of this person here is deleted, so that
// whoever uses it next finds nothing.
import { PREFIX } from "./kept.js";
import { flush } from "./outbox.js";
import { device, done, open, setWho, waiting, who } from "./store.js";

export async function leave(form) {
  const person = await who();
  const left = await count(person);
  if (!left) return go(form, person);
  const old = document.getElementById("leaving");
  if (old) old.remove();
  const box = document.createElement("div");
  const words = document.createElement("p");
  Object.assign(box, { id: "leaving", className: "refusal" });
  box.setAttribute("role", "alert");
  const those = left === 1 ? "One answer given on this device still waits" : `${left} answers given on this device still wait`;
  words.textContent = `${those} to be sent. Going on deletes what is here.`;
  box.append(
    words,
    button("Send first, then go on", "button", send),
    button("Go on without sending", "plain", () => go(form, person)),
  );
  form.append(box);
  box.querySelector("button").focus();

  async function send() {
    words.textContent = "Sending.";
    addEventListener("outbox", ({ detail: { state, waiting: still } }) => {
      if (still && state !== "sending") words.textContent = "They cannot be sent now. Staying signed in keeps them here.";
    });
    await flush();
    if (!(await count(person))) await go(form, person);
  }
}

async function count(person) {
  if (!person) return 0;
  try {
    const db = await open(person);
    const left = (await waiting(db)).length;
    db.close();
    return left;
  } catch {
    return 0; // storage is refused: nothing is here
  }
}

async function go(form, person) {
  try {
    Object.keys(localStorage).filter((key) => key.startsWith(PREFIX)).forEach((key) => localStorage.removeItem(key));
    await setWho(null); // first, so that nothing is filled or sent for this person any more
    if (person) await wipe(person);
  } catch {
    // as above
  }
  form.submit();
}

function button(words, look, does) {
  const made = document.createElement("button");
  Object.assign(made, { type: "button", className: look, textContent: words, onclick: does });
  return made;
}

export async function wipe(person) {
  await device("persons", (known = []) => known.filter((one) => one !== person));
  if (self.caches) await caches.delete("kept");
  await done(indexedDB.deleteDatabase(`quizsvc-${person}`));
}
