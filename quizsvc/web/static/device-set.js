// What a set on the device is made of, and its end: how it went, the numbers that can be taken again, and each feedback
// to read once more.
import { at, meta, outcome, ready, today } from "./device-home.js";
import { shape } from "./feedback.js";

// The cautions that pressing Start acknowledges: C1, and C9 with the first set of a day.
export function owed(state) {
  const { at: asked, start } = meta(state, "kept");
  const seen = meta(state, "c9").day || (start && !start.acknowledge.includes("C9") && today(asked));
  return seen === today() ? ["C1"] : ["C1", "C9"];
}

// Kept questions in their order that fill the seconds, no concept twice; a Short set has only what suits the ramp.
export function pick(state, seconds, long) {
  const ids = [];
  const concepts = new Set();
  let left = seconds;
  for (const one of ready(state)) {
    if (concepts.has(one.concept) || one.seconds > left || !(long || one.ramp)) continue;
    ids.push(one.id);
    concepts.add(one.concept);
    left -= one.seconds;
  }
  return { ids, seconds: seconds - left };
}

// What a set asks now: its questions, or the spares once they were taken; those that are gone from here are left out.
export function asked({ questions, given }, { ids, spares }) {
  const here = (spares.length ? spares : ids).filter((id) => questions.some((one) => one.id === id));
  const open = here.filter((id) => !given[id]);
  return { next: open[0], left: open.length, answered: here.length - open.length };
}

const DAY_MS = 24 * 3600 * 1000;

// The set that can be gone on with; after a day the service would choose other questions, as with a set online.
export function unfinished(state) {
  const fresh = ({ begun_at, ended_at }) => !ended_at && Date.now() - Date.parse(begun_at) < DAY_MS;
  const set = state.sets.find((one) => fresh(one) && asked(state, one).next);
  return set && { set, name: set.long ? "Long set" : "Short set", ...asked(state, set) };
}

// For each number that was missed the same with other numbers, where one is kept.
export function missed({ set, questions, given }) {
  const ids = set.ids.filter((id) => given[id] && ["miss", "pass"].includes(outcome(given[id])));
  return questions.filter(({ id, spare_of }) => ids.includes(spare_of) && !given[id]).map(({ id }) => id);
}

export function paintEnd(state, pages) {
  const { set, given } = state;
  const outcomes = set.ids.filter((id) => given[id]).map((id) => outcome(given[id]));
  const words = ["full", "part", "miss", "pass", "void", "kept"].filter((word) => outcomes.includes(word));
  const tally = words.map((word) => `${outcomes.filter((one) => one === word).length} ${word}`).join(", ");
  at("tally").textContent = `${outcomes.length} of ${set.ids.length} answered${tally && `: ${tally}`}.`;
  const spares = set.spares.length ? [] : missed(state);
  at("missed").hidden = !spares.length;
  at("missed").querySelector("span").textContent = spares.length === 1 ? "One number" : `${spares.length} numbers`;
  at("again").textContent = spares.length === 1 ? "Take it again" : "Take them again";
  // One button is the way on: the offer where there is one, else another set.
  at("home").className = spares.length ? "plain" : "button";
  list(state, pages, "In this set", set.ids);
  list(state, pages, "Again, with new numbers", set.spares);
  document.title = "End of set \u00b7 quizsvc";
}

function list({ questions, given }, pages, name, ids) {
  if (!ids.length) return;
  const heading = document.createElement("h2");
  const rows = document.createElement("ul");
  heading.textContent = name;
  rows.className = "leaders";
  for (const id of ids) {
    const answer = given[id];
    const question = questions.find((one) => one.id === id);
    const row = pages.row.cloneNode(true);
    const button = row.querySelector("button");
    const how = row.querySelector(".how");
    row.querySelector(".what").textContent = (question || answer || {}).title || "";
    if (answer && outcome(answer) !== "kept") {
      how.replaceChildren(...shape(pages.words, outcome(answer)), answer.sureness ? `, ${answer.sureness}` : "");
    } else how.textContent = answer ? "kept" : "not answered";
    if (answer && question) button.dataset.review = id;
    else button.replaceWith(...button.childNodes);
    rows.append(row);
  }
  at("lists").append(heading, rows);
}
