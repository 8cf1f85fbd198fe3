// Sending JSON until somebody replies. A reply of the service ends it, also a refusal; silence does not.
const WAITS_S = [1, 2, 4, 8, 15];
const LONGEST_S = 30;
const TIMEOUT_MS = 15000;
let hurries = 0;

// Whoever asks has a reason not to wait for the next try: the pause ends, and pauses begin anew with the shortest.
export function hurry() {
  hurries += 1;
  dispatchEvent(new Event("hurry"));
}

addEventListener("online", hurry);

export class Refused extends Error {
  constructor(status, problem) {
    super();
    Object.assign(this, { status, problem });
  }
}

// `waiting(seconds, now)` is told each time nothing came back; calling `now` tries at once.
export async function send(address, body, waiting) {
  for (let tries = 0, known = hurries; ; tries += 1) {
    try {
      return await once(address, body);
    } catch (error) {
      if (error instanceof Refused && !passing(error)) throw error;
    }
    // Asked for while a try was under way, the next follows at once: that try may be of before the signal came back.
    if (known === hurries) await pause(tries, waiting);
    if (known !== hurries) tries = -1;
    known = hurries;
  }
}

// Worth another try: a gateway that is alone for the moment, or a database that is busy or away.
function passing({ status, problem: { type } }) {
  return [502, 503, 504].includes(status) && (!type || type.endsWith(":store-unavailable"));
}

export async function once(address, body, more) {
  const response = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    // The clock is read at each sending: the service corrects the time of the answer by it.
    body: JSON.stringify(body()),
    signal: AbortSignal.timeout?.(TIMEOUT_MS),
    ...more,
  });
  if (!response.ok) throw new Refused(response.status, (await response.json().catch(() => 0)) || {});
  // The page of a network that wants somebody to sign in, or half a reply, is no reply of the service.
  return response.json();
}

export function pause(tries, waiting) {
  const seconds = WAITS_S[tries] || LONGEST_S;
  return new Promise((resolve) => {
    setTimeout(resolve, seconds * 1000);
    addEventListener("hurry", resolve, { once: true });
    waiting(seconds, hurry);
  });
}

export function uuid() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}
