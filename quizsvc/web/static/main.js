// Enhances a drill where scripts run: no page is loaded between items, a lost request is sent again, and what was picked
// or typed outlives a closed browser. Every screen works without this file.
import { drill } from "./drill.js";
import { fill } from "./fill.js";
import { install } from "./installed.js";
import { forgetAll } from "./kept.js";
import { start } from "./outbox.js";

drill();
install();
start();
// A page that leads to somebody's settings has a person, for whom questions can be kept.
if (document.querySelector("[href='/account']")) fill();
addEventListener("begun", () => fill());

// Whoever uses this device next must not find what was typed.
document.addEventListener("submit", (event) => {
  if (event.target.matches("[data-forget]")) forgetAll();
});

if (document.querySelector("[data-version]")) import("./preview.js");
if (document.querySelector("[data-bench]")) import("./bench.js");
