// What was picked or typed for a question, on this device until the answer is stored.
// A row is {uuid, fields, sent}; `sent` holds the answer once it went out without a reply.
const PREFIX = "answer:";

export function recall(question) {
  try {
    return JSON.parse(localStorage.getItem(PREFIX + question));
  } catch {
    return null; // storage is switched off, or holds what we did not write
  }
}

export function keep(question, row) {
  try {
    localStorage.setItem(PREFIX + question, JSON.stringify(row));
  } catch {
    // A full or forbidden storage costs only the memory of a closed browser; the answer itself is on its way.
  }
}

export function forget(question) {
  try {
    localStorage.removeItem(PREFIX + question);
  } catch {
    // as above
  }
}

export function forgetAll() {
  try {
    Object.keys(localStorage).filter((key) => key.startsWith(PREFIX)).forEach((key) => localStorage.removeItem(key));
  } catch {
    // as above
  }
}
