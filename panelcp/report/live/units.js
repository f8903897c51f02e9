// The switch of the page between metric and cockpit units. Both readings of every number stand in
// the page already: the text of a data element is metric, its value the other, and so with a cell
// or a tspan and its data-q. Nothing is reckoned here.
//
// document.documentElement.dataset.units is "metric" or "cockpit". When it has changed, the event
// `panelcp:units` is sent to document; its detail is the same word.
(() => {
  "use strict";
  const KEY = "panelcp:units", SYSTEMS = ["metric", "cockpit"];
  const root = document.documentElement, control = document.getElementById("units");

  function remembered() {
    try {
      return localStorage.getItem(KEY);
    } catch (error) {
      return null; // pages opened from disk may have no memory
    }
  }

  function remember(system) {
    try {
      localStorage.setItem(KEY, system);
    } catch (error) {
      // the choice then holds for this page alone
    }
  }

  function show(system) {
    root.dataset.units = system;
    for (const place of document.querySelectorAll("data[value], [data-q]")) {
      const both = place.dataset;
      if (both.metric === undefined) both.metric = place.textContent;
      place.textContent = system === "metric" ? both.metric : both.q || place.value;
    }
    document.dispatchEvent(new CustomEvent("panelcp:units", { detail: system }));
  }

  root.dataset.units = SYSTEMS[0];
  if (!control) return;
  control.hidden = false;
  control.addEventListener("change", (event) => {
    show(event.target.value);
    remember(event.target.value);
  });
  const first = remembered();
  if (SYSTEMS.includes(first) && first !== SYSTEMS[0]) {
    for (const choice of control.querySelectorAll("input")) choice.checked = choice.value === first;
    show(first);
  }
})();
