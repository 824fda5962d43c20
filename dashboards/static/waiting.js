"use strict";
// Asks how far the work has come, and shows the page anew once it is done.
(() => {
  const EVERY_MS = 700;
  const source = document.body.dataset.waiting;
  const place = document.getElementById("progress");
  if (!source || !place) return;

  async function turn() {
    try {
      const reply = await fetch(source);
      if (!reply.ok) throw new Error(`HTTP ${reply.status}`);
      const { done, of, ready } = await reply.json();
      if (ready) return location.reload();
      place.querySelector("progress").value = done;
      place.querySelector("span").textContent = `${done} of ${of} pumps worked out`;
    } catch (trouble) {
      place.querySelector("span").textContent = `Owncurve does not answer (${trouble.message}); trying again`;
    }
    setTimeout(turn, EVERY_MS);
  }
  setTimeout(turn, EVERY_MS);
})();
