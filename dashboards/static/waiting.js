"use strict";
// Asks whether the work is done, and shows the page anew once it is done.
(() => {
  const EVERY_MS = 700;
  const source = document.body.dataset.waiting;
  const place = document.getElementById("progress");
  if (!source || !place) return;

  async function turn() {
    try {
      const reply = await fetch(source);
      if (!reply.ok) throw new Error(`HTTP ${reply.status}`);
      const { ready } = await reply.json();
      if (ready) return location.reload();
    } catch (trouble) {
      place.querySelector("span").textContent = `Owncurve does not answer (${trouble.message}); trying again`;
    }
    setTimeout(turn, EVERY_MS);
  }
  setTimeout(turn, EVERY_MS);
})();
