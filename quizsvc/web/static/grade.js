// What cannot be looked up in a table: a typed number, a reading of an instrument, an order. The same rules as the
// service's; it judges every answer again, and its grade wins.

export class Open extends Error {
  constructor(message, where = "") {
    super(message);
    this.where = where;
  }
}

const EDGE = 1 + 1e-9; // an answer exactly on the edge of the tolerance is inside
const SAME = 1e-6;
const LARGEST = 1e12;

const FLIGHT_LEVEL = /^(?:fl|flight level) ?([0-9]{1,3})\.?$/i;
const NUMBER_THEN_REST = /^([+-]?) ?([0-9.,]+(?: [0-9.,]+)*) ?(.*)$/;
const DIGITS = /^(?:[0-9]+\.?|[0-9]*\.[0-9]+)$/;
const COMMA_THOUSANDS = /^[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]*)?$/;
const SPACE_THOUSANDS = /^[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]*)?$/;
const ONE_COMMA = /^([0-9]*),([0-9]+)$/;

const fromSi = (value, { factor, offset }) => (value - offset) / factor;

function same(left, right, unit) {
  const [one, other] = [fromSi(left, unit), fromSi(right, unit)];
  return Math.abs(one - other) <= SAME * Math.max(1, Math.abs(one), Math.abs(other));
}

const near = (value, target, within, unit) => Math.abs(value - target) <= within * EDGE || same(value, target, unit);

// A quantity as a person types it: {si, unit: {factor, offset, name}, bare}. `units` are those of its dimension.
export function quantity(text, spec, units, where) {
  const cannot = () => new Open(`'${text}' cannot be read as a number. Type a number, with or without its unit.`, where);
  if (text.length > 60 || /[\u0000-\u0008\u000a-\u001f\u007f\ud800-\udfff]/.test(text)) throw cannot();
  const plain = text
    .replace(/[\t\u00a0\u2002-\u200a\u202f\u3000]/g, " ")
    .replace(/[\u2010-\u2013\u2212\ufe63\uff0d]/g, "-")
    .replace(/[\u2018\u2019\u02bc]/g, "'")
    .split(/[^\S\ufeff]+/).filter(Boolean).join(" ");
  const known = (word) => units[word.toLowerCase()];
  const level = FLIGHT_LEVEL.exec(plain);
  const parts = level ? ["", "", level[1], "fl"] : NUMBER_THEN_REST.exec(plain);
  if (!parts) throw cannot();
  const [, sign, digits, word] = parts;
  const found = word ? known(word) || known(word.replace(/\.$/, "")) : null;
  if (word && !found) throw cannot();
  const unit = found ? { factor: found[0], offset: found[1], name: found[2] } : { ...spec, name: spec.unit };
  const size = number(digits, spec.below_100);
  if (size === null) throw cannot();
  return { si: (sign === "-" ? -size : size) * unit.factor + unit.offset, unit, bare: !/\p{L}/u.test(text) };
}

function number(digits, below100) {
  if (DIGITS.test(digits)) return Number(digits);
  const comma = ONE_COMMA.exec(digits);
  if (comma && (below100 || !COMMA_THOUSANDS.test(digits))) return Number(`${comma[1]}.${comma[2]}`);
  if (COMMA_THOUSANDS.test(digits)) return Number(digits.replaceAll(",", ""));
  if (SPACE_THOUSANDS.test(digits)) return Number(digits.replaceAll(" ", "").replace(",", "."));
  return null;
}

// A value as the service prints it: half up, thousands apart; a QNH stays together, a flight level has three digits.
export function shown(si, unit, decimals) {
  const value = Number(fromSi(si, unit).toPrecision(12));
  const size = 10 ** (unit.name === "FL" ? 0 : decimals);
  const whole = Math.round(Number((Math.abs(value) * size).toPrecision(13)));
  const minus = value < 0 && whole > 0 ? "-" : "";
  if (unit.name === "FL") return `${minus}FL${String(whole).padStart(3, "0")}`;
  const places = Math.max(0, decimals);
  const digits = (whole / size).toFixed(places);
  const apart = unit.name === "hPa" && Math.abs(value) < 10000 ? digits : digits.replace(/\B(?<!\..*)(?=(\d{3})+(?!\d))/g, ",");
  return minus + (unit.name === "ratio" ? apart : `${apart} ${unit.name}`);
}

function readBack({ si, unit }) {
  const value = fromSi(si, unit);
  const close = (digits) => Math.abs(Number(value.toFixed(digits)) - value) <= 1e-7 * Math.max(1, Math.abs(value));
  return shown(si, unit, [0, 1, 2, 3, 4, 5].find(close) ?? 6);
}

export function judgeNumber(spec, text, units) {
  if (!text.trim()) throw new Open("Nothing was typed. Type a number, or press pass.");
  const typed = quantity(text, spec, units);
  const { si } = typed;
  if (!(Math.abs(si) < LARGEST)) throw new Open("The number is too large to be an answer. Check what was typed.");
  const said = { readBack: readBack(typed), belief: null, remark: null };
  const alike = (rounded) => rounded !== null && same(si, rounded, spec);
  if (near(si, spec.key, spec.within, spec) || alike(spec.rounded)) {
    return { ...said, outcome: "full", credit: 1, remark: unsafe(spec, si) };
  }
  const trap = spec.traps.find(({ value, rounded }) => alike(rounded) || near(si, value, spec.within, spec));
  if (trap) return { ...said, outcome: "miss", credit: 0, belief: trap.belief };
  if (near(si, spec.key, 2 * spec.within, spec)) return { ...said, outcome: "part", credit: 0.5 };
  return { ...said, outcome: "miss", credit: 0 };
}

// Rounded the unsafe way: right, with a sentence.
function unsafe(spec, si) {
  const rule = spec.round;
  if (!rule || rule.direction === "nearest") return null;
  const slack = 0.5 * 10 ** -spec.decimals * EDGE;
  const past = fromSi(si, spec) - fromSi(spec.key, spec);
  if (!(rule.direction === "up" ? past < -slack : past > slack)) return null;
  const cockpit = shown(spec.rounded, { ...spec, name: spec.unit }, spec.rounded_decimals);
  return `Within the tolerance, but round ${rule.direction} here: ${cockpit}.`;
}

// A reading of a dial; a bare number that stands on the scale counts as the scale does.
export function judgeReading(spec, text, units) {
  const where = `readings/${spec.id}`;
  if (!(text || "").trim()) throw new Open(`The ${spec.label} reading is open. Type what its pointer shows, or press pass.`, where);
  const typed = quantity(text, { ...spec, below_100: spec.below_100 }, units, where);
  const plain = fromSi(typed.si, spec);
  let { si } = typed;
  if (spec.scale !== 1 && typed.bare && Math.abs(plain) <= spec.scale_end) si = plain * spec.scale * spec.factor + spec.offset;
  if (!(Math.abs(si) < LARGEST)) throw new Open(`The ${spec.label} reading is too large to be one. Check what was typed.`, where);
  const right = Math.abs(si - spec.key) <= spec.within * (1 + 1e-6);
  const unit = { ...spec, name: spec.unit };
  return { id: spec.id, right, given: shown(si, unit, spec.decimals), key: shown(spec.key, unit, spec.decimals), belief: null };
}

// Credit for an order: the longest run of steps, not necessarily together, that is in the right order.
export function judgeOrder({ right, groups, must_first: first, orders, texts }, given) {
  const ends = [];
  for (const step of given) {
    const at = ends.findIndex((end) => end > groups[step]);
    ends[at < 0 ? ends.length : at] = groups[step];
  }
  const count = given.length;
  const place = (step) => given.indexOf(step);
  const key = [...right].sort((one, other) => groups[one] - groups[other] || place(one) - place(other));
  const full = ends.length === count;
  const led = first === null || given.slice(0, place(first)).every((step) => groups[step] <= groups[first]);
  const capped = !led && ends.length / count > 0.3;
  const apart = given.findIndex((step, at) => step !== key[at]);
  const held = full ? [] : orders.filter(({ before: [one, other] }) => place(one) < place(other));
  const wanted = (pair) => held.find(({ before }) => pair.every((step, at) => before[at] === step));
  const found = full ? null : wanted([given[apart], key[apart]]) || wanted([given[apart]]) || held[0] || null;
  const told = found && found.before.find((step) => step !== key[place(step)]);
  const rows = given.map((step, at) => {
    return { id: String(at + 1), given: texts[step], key: texts[key[at]], right: step === key[at], belief: step === told ? found.belief : null };
  });
  return {
    outcome: full ? "full" : ends.length > 1 ? "part" : "miss",
    credit: capped ? 0.3 : ends.length / count,
    belief: found ? found.belief : null,
    remark: capped ? "What must come first came later, which caps the credit at 0.3." : null,
    rows,
  };
}
