// Unpacks the scripts of the live picture, which the page holds deflated, and runs them.
//
// Panelcp.live.started is the promise that all is there. Until the scripts run, those who call
// Panelcp.live.onReady wait in a list that app.js takes over.
(() => {
  "use strict";
  const live = (Panelcp.live = Panelcp.live || {});
  live.waiting = [];
  live.onReady = (act) => live.waiting.push(act);

  live.tellFailure = (error) => {
    const told = document.createElement("p");
    told.className = "notice";
    told.textContent = `The live picture cannot be shown: ${error.message} The maps below show the same results.`;
    document.getElementById("live-app").replaceChildren(told);
    console.error(error);
  };

  async function start() {
    try {
      const script = document.createElement("script");
      script.textContent = await Panelcp.readText(document.getElementById("live-code").textContent);
      document.body.append(script); // runs it at once
      script.remove();
    } catch (error) {
      live.tellFailure(error);
      return;
    }
    await live.opened;
  }

  live.started = start();
})();
