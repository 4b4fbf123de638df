// Tells how far a replay is, and shows the page anew once it is done.
// Without this file the page reloads itself every few seconds.
"use strict";

(() => {
  const EVERY_MS = 1000;
  let shown = null;

  async function ask() {
    const running = document.getElementById("running");
    if (running === null) return; // the page was swapped for one that says what it came to
    try {
      const answer = await fetch("/api/v1/replays", { headers: { Accept: "application/json" } });
      if (answer.ok) {
        const here = (await answer.json()).find((one) => String(one.number) === running.dataset.number);
        if (here?.stage !== running.dataset.stage) {
          location.reload();
          return;
        }
        const percent = Math.round(here.share * 100);
        if (percent !== shown) {
          shown = percent;
          document.getElementById("bar").value = percent;
          const says = document.getElementById("how-far");
          says.textContent = says.dataset.says.replace("{percent}", percent);
        }
      }
    } catch {
      // page.js says that touch is lost
    }
    setTimeout(ask, EVERY_MS);
  }

  setTimeout(ask, EVERY_MS);
})();
