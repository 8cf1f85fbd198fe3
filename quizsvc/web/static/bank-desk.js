// The bank desk: what is typed is checked while one writes. Without this script a button does the same.
const AFTER_MS = 1500;
const form = document.querySelector("[data-check]");
const said = document.getElementById("checked");
let timer = 0;
let asking = null; // the check that is running
let again = false;

if (form) {
  form.addEventListener("input", later);
  form.addEventListener("submit", () => clearTimeout(timer));
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(ask, AFTER_MS);
}

// One at a time: what was typed meanwhile is checked afterwards.
async function ask() {
  if (asking) {
    again = true;
    return;
  }
  asking = check();
  await asking;
  asking = null;
  if (again) {
    again = false;
    later();
  }
}

async function check() {
  const body = new FormData(form);
  body.set("do", "check");
  try {
    const answer = await fetch(form.action, { method: "POST", body });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const found = page.getElementById("check");
    const refused = page.querySelector("#refusal strong");
    if (found && !refused) document.getElementById("check").replaceWith(document.adoptNode(found));
    const heading = refused || (found && found.querySelector("h2"));
    said.textContent = heading ? heading.textContent : "";
  } catch {
    said.textContent = "No connection: not checked.";
  }
}
