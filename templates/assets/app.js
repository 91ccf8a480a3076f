/* Draws the live charts over their stills when they come near, and lets a reader show or hide samples. */
(function () {
  "use strict";

  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  var still = window.matchMedia("(prefers-reduced-motion: reduce)");
  var options = { displayModeBar: false, responsive: true, scrollZoom: false };

  function hidden(figure) {
    var off = Object.create(null); /* a sample may be called anything, also like something every object has */
    figure.querySelectorAll(".key[aria-pressed=false]").forEach(function (key) {
      off[key.dataset.sample] = true;
    });
    return off;
  }

  /* Lays the dark theme's colours over the light figure: objects key by key, lists of objects item by item. */
  function laid(over, base) {
    if (over === undefined) { return base; }
    if (Array.isArray(base) && typeof base[0] === "object" && base[0] !== null) {
      return base.map(function (item, place) { return laid(over[place], item); });
    }
    if (typeof base !== "object" || base === null || Array.isArray(base)) { return over; }
    return Object.keys(base).reduce(function (all, key) {
      all[key] = laid(over[key], base[key]);
      return all;
    }, {});
  }

  function draw(figure) {
    var block = figure.querySelector(".live-data");
    var place = figure.querySelector(".live");
    if (!block || !window.Plotly) { return; }
    var both = JSON.parse(block.textContent);
    var chart = dark.matches ? laid(both.dark, both.light) : both.light;
    var off = hidden(figure);
    chart.data.forEach(function (trace) { trace.visible = !off[trace.meta]; });
    chart.layout.height = Math.max(320, Math.min(460, Math.round(figure.clientWidth * 0.62)));
    chart.layout.transition = still.matches ? { duration: 0 } : undefined;
    if (figure.clientWidth < 420) { chart.layout.dragmode = false; }
    figure.classList.add("drawn"); /* before drawing: the chart takes the width of a place that shows */
    try {
      window.Plotly.react(place, chart.data, chart.layout, options);
    } catch (trouble) {
      figure.classList.remove("drawn"); /* the still says the same */
    }
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
