// The end of a set on the device: how it went, the numbers that can be taken again, and each feedback to read once more.
import { at, outcome } from "./device-home.js";
import { shape } from "./feedback.js";

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
