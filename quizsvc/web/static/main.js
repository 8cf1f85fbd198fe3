// Enhances a drill where scripts run: no page is loaded between items, a lost request is sent again, and what was picked
// or typed outlives a closed browser. Every screen works without this file.
import { drill } from "./drill.js";

drill();

// What can wait does, so that a poor line first brings what a thumb needs.
let begun = false;
addEventListener("begun", () => (begun = true));
const later = () => setTimeout(rest);
if (document.readyState === "complete") later();
else addEventListener("load", later);

async function rest() {
  const [{ install }, { start }, { fill }] = await Promise.all([import("./installed.js"), import("./outbox.js"), import("./fill.js")]);
  install();
  start();
  // A page that leads to somebody's settings has a person, for whom questions can be kept.
  if (begun || document.querySelector("[href='/account']")) fill();
  addEventListener("begun", () => fill());
}

// Whoever uses this device next must not find what was typed or kept.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-forget]")) return;
  event.preventDefault();
  import("./sign-out.js").then(({ leave }) => leave(form)).catch(() => form.submit());
});

if (document.querySelector("[data-version]")) import("./preview.js");
if (document.querySelector("[data-bench]")) import("./bench.js");
