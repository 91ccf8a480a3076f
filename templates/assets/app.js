/* Draws the live charts over their stills when they come near, and lets a reader show or hide samples. */
(function () {
  "use strict";

  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var still = window.matchMedia("(prefers-reduced-motion: reduce)");
  var options = { displayModeBar: false, responsive: true, scrollZoom: false };

  function hidden(figure) {
    var off = {};
    figure.querySelectorAll(".key[aria-pressed=false]").forEach(function (key) {
      off[key.dataset.sample] = true;
    });
    return off;
  }

  function draw(figure) {
    var block = figure.querySelector(".live-data");
    var place = figure.querySelector(".live");
    if (!block || !window.Plotly) { return; }
    var chart = JSON.parse(block.textContent)[dark.matches ? "dark" : "light"];
    var off = hidden(figure);
    chart.data.forEach(function (trace) { trace.visible = !off[trace.meta]; });
    chart.layout.height = Math.max(320, Math.min(460, Math.round(figure.clientWidth * 0.62)));
    chart.layout.transition = still.matches ? { duration: 0 } : undefined;
    if (figure.clientWidth < 420) { chart.layout.dragmode = false; }
    figure.classList.add("drawn"); /* before drawing: the chart takes the width of a place that shows */
    window.Plotly.react(place, chart.data, chart.layout, options);
  }

  var figures = document.querySelectorAll("[data-chart]");
  var near = new IntersectionObserver(function (entries) {
    entries.forEach(function (entry) {
      if (entry.isIntersecting) {
        near.unobserve(entry.target);
        draw(entry.target);
      }
    });
  }, { rootMargin: "400px" });

  figures.forEach(function (figure) {
    near.observe(figure);
    figure.querySelectorAll(".key").forEach(function (key) {
      key.addEventListener("click", function () {
        key.setAttribute("aria-pressed", String(key.getAttribute("aria-pressed") !== "true"));
        draw(figure);
      });
    });
  });

  dark.addEventListener("change", function () {
    figures.forEach(function (figure) {
      if (figure.classList.contains("drawn")) { draw(figure); }
    });
  });
}());
