// Keeps the figures of the first page fresh. The page is whole without it.
"use strict";
(function () {
  // The pages may be served below a path; the script lies two steps below it.
  var here = new URL("..", document.currentScript.src);
  var said = function (text) {
    var place = document.getElementById("live");
    if (place && place.textContent !== text) place.textContent = text;
  };
  var put = function (root, name, text) {
    var place = root.querySelector("[data-" + name + "]");
    if (place && place.textContent !== text) place.textContent = text;
  };
  var isAsking = false;
  var fetchMiddle = function () {
    var held = document.activeElement;
    if (isAsking || (held && held.closest && held.closest("#now form"))) return;
    isAsking = true;
    fetch(new URL("now", here), { credentials: "same-origin", redirect: "manual" })
      .then(function (answer) {
        if (answer.type === "opaqueredirect") { location.reload(); return null; }
        return answer.ok ? answer.text() : null;
      })
      .then(function (text) {
        var fresh = text && new DOMParser().parseFromString(text, "text/html").getElementById("now");
        if (fresh) document.getElementById("now").replaceWith(fresh);
        said("live");
      })
      .catch(function () { said("not live: no connection"); })
      .finally(function () { isAsking = false; });
  };
  var heard = Date.now();
  var source = new EventSource(new URL("now/stream", here));
  source.onopen = function () { heard = Date.now(); said("live"); };
  source.onmessage = function (event) {
    heard = Date.now();
    said("live");
    var news = JSON.parse(event.data);
    var now = document.getElementById("now");
    if (now.dataset.shape !== news.shape) fetchMiddle();
    put(now, "at", news.at);
    now.querySelectorAll("[data-unit]").forEach(function (unit) {
      var told = news.units[unit.dataset.unit];
      if (!told) return;
      ["fish", "air", "since", "age"].forEach(function (name) { put(unit, name, told[name]); });
    });
  };
  source.onerror = function () { said("not live: no connection"); };
  setInterval(function () {
    if (Date.now() - heard > 60000) said("not live: no connection");
  }, 5000);
  document.addEventListener("visibilitychange", function () {
    if (!document.hidden) fetchMiddle();
  });
})();
