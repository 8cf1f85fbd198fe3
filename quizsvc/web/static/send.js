// Sending JSON until somebody replies. A reply of the service ends it, also a refusal; silence does not.
const WAITS_S = [1, 2, 4, 8, 15, 30];
const TIMEOUT_MS = 15000;
let wake = () => {};

// Ends the pause before the next try.
export const hurry = () => wake();

export class Refused extends Error {
  constructor(status, problem) {
    super(problem.detail || "");
    this.status = status;
    this.problem = problem;
  }
}

// `waiting(seconds, now)` is told each time nothing came back; calling `now` tries at once.
export async function send(address, body, waiting) {
  for (let tries = 0; ; tries += 1) {
    try {
      return await once(address, body);
    } catch (error) {
      if (error instanceof Refused && !passing(error)) throw error;
    }
    await pause(WAITS_S[Math.min(tries, WAITS_S.length - 1)], waiting);
  }
}

// Worth another try: a gateway that is alone for the moment, or a database that is busy or away.
function passing(error) {
  const type = error.problem.type || "";
  return [502, 503, 504].includes(error.status) && (!type || type.endsWith(":store-unavailable"));
}

async function once(address, body) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), TIMEOUT_MS);
  try {
    const response = await fetch(address, {
      method: "POST",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      // The clock is read at each sending: the service corrects the time of the answer by it.
      body: JSON.stringify(body()),
      signal: stop.signal,
    });
    const reply = await response.json().catch(() => ({}));
    if (!response.ok) throw new Refused(response.status, reply);
    return reply;
  } finally {
    clearTimeout(timer);
  }
}

function pause(seconds, waiting) {
  return new Promise((resolve) => {
    const timer = setTimeout(go, seconds * 1000);
    function go() {
      clearTimeout(timer);
      removeEventListener("online", go);
      resolve();
    }
    addEventListener("online", go);
    wake = go;
    waiting(seconds, go);
  });
}

export function uuid() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
