// Loads the middle of a page again after a while, as long as the page asks for it. The page works
// without: then it is loaded as a whole, and a link on it stops that.
"use strict";

const main = document.getElementById("main");

function wait() {
  const asks = main.querySelector("[data-again-s]");
  if (asks) setTimeout(look, 1000 * Number(asks.dataset.againS));
}

async function look() {
  try {
    const answer = await fetch(location.href, { redirect: "manual" });
    if (answer.type === "opaqueredirect") { location.reload(); return; }
    if (answer.ok) {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      main.replaceChildren(...page.getElementById("main").childNodes);
    }
  } catch { /* the service is away for a moment */ }
  wait();
}

wait();
