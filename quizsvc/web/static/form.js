// The form of an answer, online and on the device: read it, tap in it, say what is open.

// What is answered, in the words of the service; a sentence while nothing is. Which row is open, who judges it says.
export function read(form, button) {
  const nothing = form.elements.text ? "typed yet. Type a number" : "picked yet. Pick what is true";
  return response(form, button) || `Nothing is ${nothing}, or pass.`;
}

function response(form, button) {
  const fields = new FormData(form);
  if (button?.name === "pass") return { pass: true };
  const text = (fields.get("text") || "").trim();
  if (form.elements.text) return text && { text };
  const readings = under(fields, "reading-");
  const option = fields.has("option") && { option: fields.get("option") };
  if (readings) return { readings, ...option };
  if (option) return option;
  if (fields.has("spoken")) return { points: fields.getAll("points") };
  const places = under(fields, "place-");
  if (places) {
    const steps = Object.keys(places).filter((step) => places[step]);
    const twice = steps.find((step) => steps.some((other) => other !== step && places[other] === places[step]));
    if (twice) return `Two steps have place ${places[twice]}. Give each its own place.`;
    return steps[0] && { order: steps.sort((one, other) => places[one] - places[other]) };
  }
  const rows = under(fields, "row-");
  if (rows) {
    const actions = under(fields, "after-") || {};
    for (const row in rows) if (rows[row] === "after") rows[row] = actions[row] || "";
    return { rows };
  }
  const pairs = under(fields, "pair-");
  if (pairs) return { pairs };
  return fields.has("options") && { options: fields.getAll("options") };
}

// The fields whose names begin so, by the rest of their names.
function under(fields, prefix) {
  const found = [...fields].filter(([name]) => name.startsWith(prefix));
  return found[0] && Object.fromEntries(found.map(([name, value]) => [name.slice(prefix.length), value]));
}

export function fieldsOf(form) {
  return [...new FormData(form)].filter(([name]) => /^(text|options?|points|sureness)$|^(reading|place|row|after|pair)-/.test(name));
}

// A tap on a step, a plot or a sign button; gives the field that it changed.
export function tap(event) {
  const { target } = event;
  const step = target.closest("[data-order] .step");
  if (step) {
    event.preventDefault();
    return place(step);
  }
  const plot = target.closest(".plot .picture");
  if (plot) {
    const radio = plot.closest(".plot").querySelector("input");
    radio.checked = true;
    return radio;
  }
  if (!target.matches(".sign")) return null;
  const field = target.nextElementSibling;
  field.value = /^[-\u2212]/.test(field.value) ? field.value.slice(1) : "-" + field.value;
  field.focus();
  return field;
}

// The next place for a step, or its own taken back; the lists work all the same.
function place(step) {
  const lists = [...step.closest("[data-order]").querySelectorAll("select")];
  const own = step.closest("li").querySelector("select");
  const gone = own.value;
  own.value = gone ? "" : Math.max(...lists.map((list) => list.value)) + 1;
  for (const list of lists) if (gone && list.value - gone > 0) list.value -= 1;
  return own;
}

// A form that has just appeared; `fields` is what was typed in it before.
export function prepare(form, fields = []) {
  for (const field of form.querySelectorAll(".number input")) {
    // Some phones' number pads have no minus.
    const sign = document.createElement("button");
    Object.assign(sign, { type: "button", className: "plain sign", textContent: "\u00b1" });
    sign.setAttribute("aria-label", "Change the sign");
    field.before(sign);
  }
  const hint = form.querySelector("[data-order-hint]");
  if (hint) hint.textContent = "Tap the steps in their order; tap again to take one back.";
  for (const [name, value] of fields) {
    for (const field of form.querySelectorAll(`[name="${name}"]`)) {
      if (field.type === "text" || field.tagName === "SELECT") field.value = value;
      else if (field.value === value) field.checked = true;
    }
  }
}

// A new screen begins at its top, the focus on its heading.
export function head() {
  scrollTo(0, 0);
  const heading = document.querySelector("article #outcome") || document.querySelector("#progress, h1");
  if (!heading) return;
  heading.tabIndex = -1;
  heading.focus({ preventScroll: true });
}

// Says why nothing was stored, beside the row that is open.
export function refuse(words, where = "") {
  const place = document.getElementById("refusal");
  const [group, id] = where.split("/");
  const name = group === "order" ? "place" : group.slice(0, -1); // "pairs/adc" is the field "pair-adc"
  const open = id && document.querySelector(`[name="${name}-${id}"]`);
  const field = open || document.getElementById("text");
  const row = open?.closest("fieldset, li");
  if (row) row.append(place);
  else if (open) open.closest(".number").after(place);
  place.textContent = words;
  for (const old of document.querySelectorAll("[aria-invalid]")) old.removeAttribute("aria-invalid");
  if (!field) return;
  if (field.type !== "radio") field.setAttribute("aria-invalid", "true");
  field.focus();
}
