"use strict";
// Asks for the newest values every few seconds and says so plainly when nothing answers.
(() => {
  const EVERY_MS = 5000;
  const source = document.body.dataset.liveSource;
  const stale = document.getElementById("stale");
  const asOf = document.getElementById("as-of");

  const find = document.getElementById("find");
  if (find) {
    find.addEventListener("input", () => {
      const words = find.value.trim().toLowerCase();
      for (const row of document.querySelectorAll("tr[data-pump]")) {
        row.hidden = !row.textContent.toLowerCase().includes(words);
      }
    });
  }
  if (!source) return;

  function setText(element, words) {
    if (element.textContent !== words) element.textContent = words;
  }

  function show(answer) {
    setText(asOf, answer.as_of);
    setText(stale, answer.stale);
    stale.hidden = !answer.stale;
    for (const place of document.querySelectorAll("[data-pump]")) {
      const pump = answer.pumps[place.dataset.pump];
      if (!pump) continue;
      for (const element of place.querySelectorAll("[data-live]")) {
        if (element.dataset.live === "state") {
          setText(element, pump.state_words);
          element.className = pump.state;
        } else {
          showValue(element, pump);
        }
      }
    }
  }

  // A quantity that is no longer told must not keep its last value on the page.
  function showValue(element, pump) {
    const name = element.dataset.live;
    const words = "bare" in element.dataset ? pump.numbers[name] : pump.values[name];
    setText(element, words ?? "–");
    const block = element.closest("[data-block]");
    if (!block) return;
    block.hidden = words === undefined || pump.left_out.includes(name);
    const note = block.querySelector("[data-note]");
    setText(note, pump.notes[name] ?? "");
    note.hidden = !note.textContent;
  }

  // Findings come and go while the page stands open: the parts that show them are fetched anew.
  async function refresh(mark) {
    const text = await (await fetch(location.href)).text();
    const fresh = new DOMParser().parseFromString(text, "text/html");
    for (const part of document.querySelectorAll("[data-refresh]")) {
      const name = part.dataset.refresh;
      const replacement = fresh.querySelector(`[data-refresh="${name}"]`);
      if (replacement && !part.contains(document.activeElement)) part.replaceWith(replacement);
    }
    document.body.dataset.findings = mark;
  }

  async function ask() {
    try {
      const reply = await fetch(source, { signal: AbortSignal.timeout(2 * EVERY_MS) });
      if (!reply.ok) throw new Error(String(reply.status));
      const answer = await reply.json();
      show(answer);
      document.dispatchEvent(new CustomEvent("live", { detail: answer }));
      const shown = document.body.dataset.findings;
      if (shown !== undefined && answer.findings !== shown) await refresh(answer.findings);
    } catch {
      setText(stale, `Owncurve does not answer this page. What is shown is as of ${asOf.textContent}.`);
      stale.hidden = false;
    }
  }

  async function turn() {
    if (!document.hidden) await ask();
    setTimeout(turn, EVERY_MS);
  }
  setTimeout(turn, EVERY_MS);
})();
