// Judges an answer on the device: grades that can be enumerated stand in the question's table, which the service made.
import { Open, judgeNumber, judgeOrder, judgeReading } from "./grade.js";

export { Open };

const BY_KIND = { one, some, match, order, "still-works": stillWorks, gauge, number };

// {outcome, credit, belief, remark, readBack, marks by option, rows}; throws Open for a response that is none.
export function judge(table, response, units) {
  const nothing = { outcome: "pass", credit: 0, belief: null, remark: null, readBack: null, marks: null, rows: null };
  if (response.pass) return nothing;
  return { ...nothing, ...BY_KIND[table.kind](table, response, units) };
}

function marks({ order, keys, beliefs }, picked) {
  return Object.fromEntries(
    order.map((id) => [id, { picked: picked.includes(id), key: keys.includes(id), belief: beliefs[id] || null }]),
  );
}

function chosen({ order }, option) {
  if (!option) throw new Open("No option was chosen. Choose one, or press pass.");
  if (!order.includes(option)) throw new Open("The chosen option is none of this question's. Choose one of those shown.");
  return option;
}

function one(table, response) {
  const option = chosen(table, response.option);
  const right = table.keys.includes(option);
  return {
    outcome: right ? "full" : "miss",
    credit: right ? 1 : 0,
    belief: right ? null : table.beliefs[option] || null,
    marks: marks(table, [option]),
  };
}

function some(table, { options }) {
  if (!Array.isArray(options)) throw new Open("No option was chosen. Choose those that are right, or press pass.");
  if (options.some((option) => !table.order.includes(option))) {
    throw new Open("A chosen option is none of this question's. Choose among those shown.");
  }
  const picked = table.order.filter((option) => options.includes(option));
  const wrong = picked.filter((option) => !table.keys.includes(option));
  const [outcome, credit] = table.grades[`${picked.length - wrong.length}/${wrong.length}`];
  return { outcome, credit, belief: (wrong.length && table.beliefs[wrong[0]]) || null, marks: marks(table, picked) };
}

function match(table, { pairs = {} }) {
  const known = (id) => table.open.includes(id);
  if (!Object.keys(pairs).length) throw new Open("No pair was made. Choose an outcome for each row, or press pass.");
  if (!Object.keys(pairs).every(known)) throw new Open("A row is none of this question's. Answer the rows that are shown.");
  for (const id of table.open) {
    if (!pairs[id]) throw new Open("This row has no outcome yet. Choose one for each row.", `pairs/${id}`);
    if (!table.order.includes(pairs[id])) throw new Open("A chosen outcome is none of this question's. Choose among those shown.");
  }
  const rows = table.rows.map(({ id, key }) => {
    return { id, given: table.texts[pairs[id]], key: table.texts[key], right: pairs[id] === key, belief: table.beliefs[`${id} ${pairs[id]}`] || null };
  });
  const [outcome, credit] = table.grades[rows.filter(({ right }) => right).length];
  const held = table.held.find(([left, right]) => pairs[left] === right);
  return { outcome, credit, belief: outcome !== "full" && held ? table.beliefs[held.join(" ")] : null, rows };
}

function stillWorks(table, { rows: given }) {
  if (!given || typeof given !== "object") throw new Open("No row was answered. Answer each row, or press pass.");
  for (const { id } of table.rows) {
    if (!given[id]) throw new Open("This row is open. Answer each row, or press pass.", `rows/${id}`);
    if (!table.choices.includes(given[id])) throw new Open("An answer is none of this question's. Choose one of those shown.");
  }
  const text = (ids) => ids.filter((id) => id in table.texts).map((id) => table.texts[id]).join(" or ");
  const rows = table.rows.map(({ id, keys }) => {
    const right = keys.includes(given[id]);
    return { id, given: text([given[id]]), key: text(keys), right, belief: right ? null : table.beliefs[`${id} ${given[id]}`] || null };
  });
  const opposite = { works: "lost", lost: "works" };
  const swapped = table.rows.filter(({ id, keys, grave }) => grave && keys.includes(opposite[given[id]]));
  const right = rows.filter((row) => row.right).length;
  const [outcome, credit] = table.grades[`${right}/${swapped.length ? 1 : 0}`];
  const wrong = rows.find(({ belief }) => belief);
  return {
    outcome,
    credit,
    belief: wrong ? wrong.belief : null,
    remark: swapped.length && right / rows.length > 0.5 ? table.remarks[swapped[0].id] : null,
    rows,
  };
}

function gauge(table, { readings = {}, option }, units) {
  const rows = table.readings.map((spec) => judgeReading(spec, readings[spec.id], units[spec.dimension]));
  const picked = chosen(table, option);
  const judged = table.keys.includes(picked);
  const [outcome, credit] = table.grades[`${rows.filter(({ right }) => right).length}/${judged ? 1 : 0}`];
  return {
    outcome,
    credit,
    belief: judged ? null : table.beliefs[picked] || null,
    readBack: rows.map(({ given }, at) => `${table.readings[at].label} ${given}`).join("; "),
    marks: marks(table, [picked]),
    rows,
  };
}

function number(table, { text }, units) {
  return judgeNumber(table.number, text || "", units[table.number.dimension]);
}

function order(table, { order: given }) {
  if (!Array.isArray(given) || !given.length) throw new Open("No order was given. Give each step its place, or press pass.");
  if (given.some((step) => !table.order.includes(step))) throw new Open("A step is none of this question's. Order the steps that are shown.");
  const twice = given.find((step, at) => given.indexOf(step) < at);
  if (twice) throw new Open("This step has two places. Give each step one place.", `order/${twice}`);
  const open = table.order.find((step) => !given.includes(step));
  if (open) throw new Open("This step has no place yet. Give each step its place.", `order/${open}`);
  return judgeOrder(table, given);
}
