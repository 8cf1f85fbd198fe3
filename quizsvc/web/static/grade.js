// What cannot be looked up in a table: a number, a reading of an instrument, an order. The service's grade wins.

export class Open extends Error {
  constructor(message, where = "") {
    super(message);
    this.where = where;
  }
}

const [EDGE, READING_EDGE] = [1 + 1e-9, 1 + 1e-6]; // an answer exactly on the edge of a tolerance is inside
const SAME = 1e-6;
const [LARGEST, LONG] = [1e12, 1e15]; // of answers; printed with an exponent from here on
const LEADS = 0.3; // most credit where what must come first came later

const READABLE = /^[^\0-\x08\n-\x1f\x7f\ud800-\udfff]{1,60}$/;
const SPACES = /(?:(?!\ufeff)[\s\x85])+/;
const FLIGHT_LEVEL = /^(?:fl|flight level) ?([0-9]{1,3})\.?$/i;
const NUMBER_THEN_REST = /^([+-]?) ?([0-9.,]+(?: [0-9.,]+)*) ?(.*)$/;
const DIGITS = /^(?:[0-9]+\.?|[0-9]*\.[0-9]+)$/;
const COMMA_THOUSANDS = /^[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]*)?$/;
const SPACE_THOUSANDS = /^[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]*)?$/;
const ONE_COMMA = /^([0-9]*),([0-9]+)$/;

// What a map has under a name, which may also be a word that every object knows.
export const own = (map, name) => (Object.hasOwn(map, name) ? map[name] : null);

const fromSi = (si, { factor, offset }) => (si - offset) / factor;

function same(left, right, unit) {
  const [one, other] = [fromSi(left, unit), fromSi(right, unit)];
  return Math.abs(one - other) <= SAME * Math.max(1, Math.abs(one), Math.abs(other));
}

const near = (si, target, within, unit) => Math.abs(si - target) <= within * EDGE || same(si, target, unit);

// A quantity as a person types it: {si, bare, unit}; `units` are those of its dimension by their spellings.
function quantity(text, spec, units, nothing, where) {
  if (typeof text !== "string" || !text.trim()) throw new Open(`${nothing} Type a number, or press pass.`, where);
  const typed = READABLE.test(text) && parsed(text, spec, units);
  if (!typed) {
    const names = [...new Set(Object.values(units).map(([, , name]) => name))].join(", ");
    throw new Open(`'${text.slice(0, 20)}' cannot be read. Type a number, with or without a unit (${names}).`, where);
  }
  if (typed.si > -LARGEST && typed.si < LARGEST) return typed;
  throw new Open("The number is too large to be an answer. Check what was typed.", where);
}

function parsed(text, spec, units) {
  const plain = text
    .replace(/[\u2010-\u2013\u2212\ufe63\uff0d]/g, "-")
    .replace(/[\u2018\u2019\u02bc]/g, "'")
    .split(SPACES).filter(Boolean).join(" ");
  const level = FLIGHT_LEVEL.exec(plain);
  const parts = level ? ["", "", level[1], "fl"] : NUMBER_THEN_REST.exec(plain);
  if (!parts) return null;
  const word = parts[3].toLowerCase();
  const typed = own(units, word) || own(units, word.replace(/ ?\.$/, ""));
  const size = number(parts[2], spec.below_100);
  if ((word && !typed) || size === null) return null;
  const [factor, offset, unit] = typed || [spec.factor, spec.offset, spec.unit];
  const si = (parts[1] === "-" ? -size : size) * factor + offset;
  return { si, bare: !/\p{L}/u.test(text), unit: { factor, offset, unit } };
}

function number(digits, below100) {
  if (DIGITS.test(digits)) return Number(digits);
  const comma = ONE_COMMA.exec(digits);
  if (comma && (below100 || !COMMA_THOUSANDS.test(digits))) return Number(`${comma[1]}.${comma[2]}`);
  if (COMMA_THOUSANDS.test(digits)) return Number(digits.replaceAll(",", ""));
  return SPACE_THOUSANDS.test(digits) ? Number(digits.replaceAll(" ", "").replace(",", ".")) : null;
}

// A value as the service prints it: half up, thousands apart; a QNH stays together, a flight level has three digits.
export function shown(si, spec, decimals) {
  const [value, unit] = [fromSi(si, spec), spec.unit];
  if (Math.abs(value) >= LONG) return `${value.toExponential(6)} ${unit}`;
  const places = unit === "FL" ? 0 : Math.max(0, decimals);
  const size = 10 ** (unit === "FL" ? 0 : decimals);
  // Twelve digits first: what is 2.675 may come out of SI as 2.6749999999999998.
  const whole = Math.round(Number((Math.abs(Number(value.toPrecision(12))) * size).toPrecision(13)));
  const minus = value < 0 && whole > 0 ? "-" : "";
  if (unit === "FL") return `${minus}FL${String(whole).padStart(3, "0")}`;
  const useGrouping = unit !== "hPa" || whole / size >= 10000;
  const digits = { minimumFractionDigits: places, maximumFractionDigits: places, useGrouping };
  return minus + (whole / size).toLocaleString("en-US", digits) + (unit === "ratio" ? "" : ` ${unit}`);
}

function readBack({ si, unit }) {
  const value = fromSi(si, unit);
  const close = (digits) => Math.abs(Number(value.toFixed(digits)) - value) <= 1e-7 * Math.max(1, Math.abs(value));
  return shown(si, unit, [0, 1, 2, 3, 4, 5].find(close) ?? 6);
}

export function judgeNumber(spec, text, units) {
  const typed = quantity(text, spec, units, "Nothing was typed.");
  const { si } = typed;
  const said = (outcome, credit, more) => ({ outcome, credit, readBack: readBack(typed), ...more });
  const meant = (value, rounded) => near(si, value, spec.within, spec) || (rounded !== null && same(si, rounded, spec));
  if (meant(spec.key, spec.rounded)) return said("full", 1, { remark: unsafe(spec, si) });
  const trap = spec.traps.find(({ value, rounded }) => meant(value, rounded));
  if (trap) return said("miss", 0, { belief: trap.belief });
  return near(si, spec.key, 2 * spec.within, spec) ? said("part", 0.5) : said("miss", 0);
}

// A right answer that was rounded the unsafe way gets a sentence.
function unsafe(spec, si) {
  const { direction } = spec.round || {};
  const [value, key] = [fromSi(si, spec), fromSi(spec.key, spec)];
  const slack = 0.5 * 10 ** -spec.decimals * EDGE; // what the key is printed as is not rounded
  if (!(direction === "up" && value < key - slack) && !(direction === "down" && value > key + slack)) return null;
  return `Within the tolerance, but round ${direction} here: ${shown(spec.rounded, spec, spec.rounded_decimals)}.`;
}

// A reading of a dial; a bare number that stands on the scale counts as the scale does.
export function judgeReading(spec, text, units) {
  const typed = quantity(text, spec, units, `The ${spec.label} reading is open.`, `readings/${spec.id}`);
  const bare = fromSi(typed.si, spec);
  const scaled = spec.scale !== 1 && typed.bare && Math.abs(bare) <= spec.scale_end;
  const si = scaled ? bare * spec.scale * spec.factor + spec.offset : typed.si;
  const right = Math.abs(si - spec.key) <= spec.within * READING_EDGE;
  const [given, key] = [si, spec.key].map((value) => shown(value, spec, spec.decimals));
  return { id: spec.id, right, given, key, belief: null };
}

// Credit for an order: the longest run of steps, not necessarily together, that is in the right order.
export function judgeOrder({ right, groups, must_first: first, orders, texts }, given) {
  const ends = [];
  for (const step of given) ends.splice(ends.filter((end) => end <= groups[step]).length, 1, groups[step]);
  const share = ends.length / given.length;
  const place = (step) => given.indexOf(step);
  const led = first === null || given.slice(0, place(first)).every((step) => groups[step] <= groups[first]);
  const capped = !led && share > LEADS;
  const key = [...right].sort((one, other) => groups[one] - groups[other] || place(one) - place(other));
  const apart = given.findIndex((step, at) => step !== key[at]);
  const held = orders.filter(({ before: [one, other] }) => place(one) < place(other));
  const from = (...steps) => held.find(({ before }) => steps.every((step, at) => before[at] === step));
  // The belief that explains where the orders first part, else the first one that the given order shows.
  const found = share < 1 ? from(given[apart], key[apart]) || from(given[apart]) || from() : null;
  const told = found && found.before.find((step) => step !== key[place(step)]);
  return {
    outcome: share === 1 ? "full" : ends.length > 1 ? "part" : "miss",
    credit: capped ? LEADS : share,
    belief: found ? found.belief : null,
    remark: capped ? `What must come first came later, which caps the credit at ${LEADS}.` : null,
    rows: given.map((step, at) => {
      const belief = step === told ? found.belief : null;
      return { id: String(at + 1), given: texts[step], key: texts[key[at]], right: step === key[at], belief };
    }),
  };
}
