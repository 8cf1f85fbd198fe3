// Feedback on the device: the service's feedback of a pass, filled in with how an answer was judged here. The words and
// shapes are those of the page, so that nothing is said twice.

const make = (html) => Object.assign(document.createElement("template"), { innerHTML: html }).content;

// An outcome as a shape, and its word.
export function shape(words, outcome) {
  return [words.querySelector(`[data-shape="${outcome}"]`).firstElementChild.cloneNode(true), ` ${outcome}`];
}

// The page of feedback for an answer as the device keeps it; what it could not judge waits for the service.
export function filled(words, html, { response, sureness, judged, result }) {
  const page = make(html);
  const at = (hook) => page.querySelector(`[data-${hook}]`);
  if (!judged) {
    const kept = "The service judges this answer when it arrives.";
    return make(`<h2 class="outcome" id="outcome">kept</h2><p class="verdict">${kept}</p><p class="next" data-next></p>`);
  }
  if (judged.outcome === "pass") return page;
  at("outcome").replaceChildren(...shape(words, judged.outcome));
  const said = (key) => words.querySelector(`[data-said="${key}"]`);
  at("verdict").textContent = (said(`${judged.outcome} ${sureness}`) || said(judged.outcome)).textContent;
  for (const [id, mark] of Object.entries(judged.marks || {})) fillMark(page.querySelector(`[data-mark="${id}"]`), mark);
  for (const row of judged.rows || []) fillRow(page.querySelector(`[data-row="${row.id}"]`), row);
  if (result && result.differs) {
    at("verdict").after(make(`<p class="notice">The service judged this differently: ${result.outcome}, not ${judged.outcome}.</p>`));
  }
  const open = (hook, part, set) => {
    const place = at(hook);
    if (!place) return;
    place.hidden = false;
    set(part ? place.querySelector(part) : place);
  };
  if (response.text) open("typed", "dd", (place) => (place.textContent = response.text));
  if (judged.readBack) open("read", "dd", (place) => (place.textContent = judged.readBack));
  if (judged.remark) open("remark", "", (place) => (place.textContent = judged.remark));
  // A belief that stands beside its row is not told a second time.
  if (judged.belief && !(judged.rows || []).some((row) => row.belief)) {
    open("belief", "span", (place) => (place.innerHTML = judged.belief));
  }
  return page;
}

function fillMark(item, { picked, key, belief }) {
  item.classList.toggle("is-picked", picked);
  if (!picked) return;
  if (key) item.querySelector(".mark-words").append(", your pick");
  else item.append(make('<span class="mark-words">your pick</span>'), behind(belief));
}

function fillRow(item, { given, key, right, belief }) {
  item.classList.toggle("is-right", right);
  const words = item.querySelector(".mark-words");
  const note = item.querySelector(".note");
  if (right) {
    words.innerHTML = `${given}: <b>key</b>`;
    if (note) note.remove();
    return;
  }
  words.innerHTML = `<b>Key: ${key}</b>`;
  if (given) words.before(make(`<span class="mark-words">Yours: ${given}</span>\n`));
  item.append(behind(belief));
}

function behind(belief) {
  return belief ? make(`<span class="belief">The belief behind it: ${belief}</span>`) : "";
}
