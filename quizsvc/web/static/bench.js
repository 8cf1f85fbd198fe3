// The Fault bench without reloading: a changed field fetches the same page and puts its parts in place. The address
// follows, so a state can still be passed on; the focus stays where it was.
const form = document.getElementById("bench");
const said = document.getElementById("said");
let latest = 0;

form.classList.add("live");
for (const chip of document.querySelectorAll(".bench [data-node]")) chip.classList.add("tap");

form.addEventListener("change", show);
form.addEventListener("submit", (event) => {
  event.preventDefault();
  show();
});

// The slider stands beside the instrument and belongs to the form; its number follows the thumb at once.
const slider = document.getElementById("minute");
if (slider) {
  slider.addEventListener("input", () => {
    document.querySelector("output[for=minute]").textContent = slider.value;
  });
  slider.addEventListener("change", show);
}

document.addEventListener("click", (event) => {
  const chip = event.target.closest(".bench [data-node]");
  const box = chip && form.querySelector(`input[name=fail][value="${CSS.escape(chip.dataset.node)}"]`);
  if (box) {
    box.checked = !box.checked;
    show();
    return;
  }
  const look = event.target.closest("a[data-look]");
  if (look && !event.metaKey && !event.ctrlKey && !event.shiftKey) {
    event.preventDefault();
    field("node").value = look.dataset.look;
    show().then(() => document.getElementById("way").focus());
  }
});

function field(name) {
  let found = form.elements[name];
  if (!found) {
    found = document.createElement("input");
    found.type = "hidden";
    found.name = name;
    form.append(found);
  }
  return found;
}

async function show() {
  const mine = ++latest;
  const fields = new URLSearchParams(new FormData(form));
  const address = `${form.action}?${fields}`;
  try {
    const reply = await fetch(address, { headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await reply.text(), "text/html");
    if (mine !== latest) return; // a later change is on its way
    if (!reply.ok || !page.getElementById("said")) throw new Error("not the bench");
    put(page);
    history.replaceState(null, "", address);
  } catch {
    if (mine === latest) location.assign(address);
  }
}

function put(page) {
  const focused = document.activeElement;
  const look = focused && focused.dataset ? focused.dataset.look : null;
  for (const part of document.querySelectorAll("[data-part]")) {
    const fresh = page.querySelector(`[data-part="${part.dataset.part}"]`);
    if (!fresh) continue;
    const folds = new Map([...part.querySelectorAll("[data-fold]")].map((one) => [one.dataset.fold, one.open]));
    part.innerHTML = fresh.innerHTML;
    for (const one of part.querySelectorAll("[data-fold]")) {
      if (folds.has(one.dataset.fold)) one.open = folds.get(one.dataset.fold);
    }
  }
  const other = page.getElementById("minute");
  if (slider && other) {
    slider.max = other.max;
    slider.value = other.value;
  }
  for (const summary of form.querySelectorAll("[data-sum]")) {
    summary.textContent = page.querySelector(`[data-sum="${summary.dataset.sum}"]`).textContent;
  }
  for (const chip of document.querySelectorAll(".bench [data-node]")) chip.classList.add("tap");
  if (look) {
    const again = document.querySelector(`a[data-look="${CSS.escape(look)}"]`);
    if (again) again.focus();
  }
  const words = page.getElementById("said").textContent;
  if (said.textContent !== words) said.textContent = words;
}
