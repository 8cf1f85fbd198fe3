// What was picked or typed for a question, on this device until the answer is stored.
// A row is {uuid, fields, sent}; `sent` holds the answer once it went out without a reply.
export const PREFIX = "answer:";

// A full or forbidden storage, or what we did not write in it, costs only the memory of a closed browser; the answer itself
// is on its way.
function quietly(does) {
  try {
    return does();
  } catch {
    return null;
  }
}

export const recall = (question) => quietly(() => JSON.parse(localStorage.getItem(PREFIX + question)));
export const keep = (question, row) => quietly(() => localStorage.setItem(PREFIX + question, JSON.stringify(row)));
export const forget = (question) => quietly(() => localStorage.removeItem(PREFIX + question));
