"use strict";
// Draws each figure from its JSON. The server has already chosen units, words and points.
(() => {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  // Of the chart library's buttons only nearer, farther and back; its upload button would hand the data to
  // a server of its maker's.
  const config = {
    displaylogo: false,
    plotlyServerURL: "",
    modeBarButtons: [["zoomIn2d", "zoomOut2d", "resetScale2d"]],
    responsive: true,
    scrollZoom: false,
  };

  function addressOf(figure) {
    const address = new URL(figure.dataset.source, location.href);
    const range = document.querySelector("input[name=range]:checked");
    if (range && figure.dataset.figure !== "energy") address.searchParams.set("range", range.value);
    address.searchParams.set("scheme", dark.matches ? "dark" : "light");
    return address;
  }

  function fillTable(place, table) {
    const element = document.createElement("table");
    const line = (words, cell, parent) => {
      const row = parent.insertRow();
      for (const word of words) {
        const made = document.createElement(cell);
        made.textContent = word;
        if (cell === "th") made.scope = "col";
        row.append(made);
      }
    };
    line(table.columns, "th", element.createTHead());
    const body = element.createTBody();
    for (const words of table.rows) line(words, "td", body);
    place.replaceChildren(element);
  }

  async function draw(figure) {
    const caption = figure.querySelector(".caption");
    try {
      const answer = await fetch(addressOf(figure));
      if (!answer.ok) throw new Error(`HTTP ${answer.status}`);
      const drawn = await answer.json();
      const plot = figure.querySelector(".plot");
      plot.hidden = !drawn.data.length;
      const asTable = figure.querySelector(".as-table");
      if (asTable) asTable.hidden = plot.hidden;
      if (drawn.data.length) await Plotly.react(plot, drawn.data, drawn.layout, config);
      plot.setAttribute("role", "group");
      plot.setAttribute("aria-label", drawn.caption);
      caption.textContent = drawn.caption;
      if (asTable) fillTable(asTable.querySelector(".scroll"), drawn.table);
    } catch (trouble) {
      caption.textContent = `This picture could not be drawn (${trouble.message}). Reload the page to try again.`;
    }
  }

  async function drawAll() {
    document.body.toggleAttribute("data-drawn-dark", dark.matches);
    await Promise.all([...document.querySelectorAll("figure[data-source]")].map(draw));
    document.body.dataset.ready = "";
  }

  document.addEventListener("live", ({ detail }) => {
    if (!detail.now) return;
    for (const [name, [x, y]] of Object.entries(detail.now)) {
      const plot = document.querySelector(`figure[data-figure="${name}"] .plot`);
      const place = plot && plot.data ? plot.data.findIndex((trace) => trace.meta === "now") : -1;
      if (place >= 0) Plotly.restyle(plot, { x: [[x]], y: [[y]] }, [place]);
    }
  });
  document.addEventListener("change", (event) => {
    if (event.target.name === "range") drawAll();
  });
  dark.addEventListener("change", drawAll);
  drawAll();
})();
