// Judges an answer on the device: grades that can be enumerated stand in the question's table, which the service made.
import { Open, judgeNumber, judgeOrder, judgeReading, own } from "./grade.js";

export { Open };

const BY_KIND = { one, some, match, order, "still-works": stillWorks, gauge, number };
const NOTHING = { credit: 0, belief: null, remark: null, readBack: null, marks: null, rows: null };
const OPPOSITE = { works: "lost", lost: "works" };

// {outcome, credit, belief, remark, readBack, marks by option, rows}; throws Open for a response that is none.
export function judge(table, response, units) {
  if (response.pass === true) return { outcome: "pass", ...NOTHING };
  return { ...NOTHING, ...BY_KIND[table.kind](table, response, units) };
}

const map = (given) => (given && typeof given === "object" && !Array.isArray(given) ? given : null);
const rightOf = (rows) => rows.filter(({ right }) => right).length;

function graded({ grades }, name, more) {
  const [outcome, credit] = grades[name];
  return { outcome, credit, ...more };
}

function marks({ order, keys, beliefs }, picked) {
  return Object.fromEntries(
    order.map((id) => [id, { picked: picked.includes(id), key: keys.includes(id), belief: own(beliefs, id) }]),
  );
}

function chosen({ order }, option) {
  if (!option) throw new Open("No option was chosen. Choose one, or press pass.");
  if (!order.includes(option)) throw new Open("What was chosen is none of this question's. Choose among those shown.");
  return option;
}

function one(table, response) {
  const option = chosen(table, response.option);
  const belief = table.keys.includes(option) ? null : own(table.beliefs, option);
  return graded(table, option, { belief, marks: marks(table, [option]) });
}

function some(table, { options }) {
  if (!Array.isArray(options)) throw new Open("No option was chosen. Choose those that are right, or press pass.");
  for (const option of options) chosen(table, option);
  const picked = table.order.filter((option) => options.includes(option));
  const wrong = picked.filter((option) => !table.keys.includes(option));
  const belief = wrong.length ? own(table.beliefs, wrong[0]) : null;
  return graded(table, `${picked.length - wrong.length}/${wrong.length}`, { belief, marks: marks(table, picked) });
}

function match(table, response) {
  const pairs = map(response.pairs) || {};
  const ids = Object.keys(pairs);
  if (!ids.length) throw new Open("No pair was made. Choose an outcome for each row, or press pass.");
  if (ids.some((id) => !table.open.includes(id))) {
    throw new Open("A row is none of this question's. Answer the rows that are shown.");
  }
  for (const id of table.open) {
    if (!own(pairs, id)) throw new Open("This row has no outcome yet. Choose one for each row.", `pairs/${id}`);
    chosen(table, pairs[id]);
  }
  const rows = table.rows.map(({ id, key }) => {
    const right = pairs[id] === key;
    const belief = right ? null : own(table.beliefs, `${id} ${pairs[id]}`);
    return { id, given: table.texts[pairs[id]], key: table.texts[key], right, belief };
  });
  const right = rightOf(rows);
  const held = right < rows.length && table.held.find(([left, outcome]) => pairs[left] === outcome);
  return graded(table, right, { belief: held ? table.beliefs[held.join(" ")] : null, rows });
}

function stillWorks(table, response) {
  const given = map(response.rows);
  if (!given) throw new Open("No row was answered. Answer each row, or press pass.");
  for (const { id } of table.rows) {
    if (!own(given, id)) throw new Open("This row is open. Answer each row, or press pass.", `rows/${id}`);
    chosen({ order: table.choices }, given[id]);
  }
  const words = (ids) => ids.filter((id) => table.choices.includes(id)).map((id) => table.texts[id]).join(" or ");
  const rows = table.rows.map(({ id, keys }) => {
    const right = keys.includes(given[id]);
    const belief = right ? null : own(table.beliefs, `${id} ${given[id]}`);
    return { id, given: words([given[id]]), key: words(keys), right, belief };
  });
  const swapped = table.rows.find(({ id, keys, grave }) => grave && keys.includes(own(OPPOSITE, given[id])));
  const wrong = rows.find(({ belief }) => belief);
  const judged = graded(table, `${rightOf(rows)}/${swapped ? 1 : 0}`, { belief: wrong ? wrong.belief : null, rows });
  const capped = swapped && judged.credit < rightOf(rows) / rows.length;
  return { ...judged, remark: capped ? table.remarks[swapped.id] : null };
}

function gauge(table, response, units) {
  const typed = map(response.readings) || {};
  const rows = table.readings.map((spec) => judgeReading(spec, own(typed, spec.id), units[spec.dimension]));
  const option = chosen(table, response.option);
  const judged = table.keys.includes(option);
  return graded(table, `${rightOf(rows)}/${judged ? 1 : 0}`, {
    belief: judged ? null : own(table.beliefs, option),
    readBack: rows.map(({ given }, at) => `${table.readings[at].label} ${given}`).join("; "),
    marks: marks(table, [option]),
    rows,
  });
}

function number(table, { text }, units) {
  return judgeNumber(table.number, text, units[table.number.dimension]);
}

function order(table, { order: given }) {
  if (!Array.isArray(given) || !given.length) throw new Open("No order was given. Give each step a place, or pass.");
  for (const step of given) chosen(table, step);
  const twice = given.find((step, at) => given.indexOf(step) < at);
  if (twice) throw new Open("This step has two places. Give each step one place.", `order/${twice}`);
  const open = table.order.find((step) => !given.includes(step));
  if (open) throw new Open("This step has no place yet. Give each step its place.", `order/${open}`);
  return judgeOrder(table, given);
}
