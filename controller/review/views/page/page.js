"use strict";
(() => {
  const figure = document.querySelector(".day-chart");
  const data = JSON.parse(document.getElementById("series").textContent);
  const box = figure.querySelector(".readout");
  const slider = box.querySelector("input");
  const output = box.querySelector("output");
  const charts = [...figure.querySelectorAll("svg.chart")];
  slider.max = data.steps.length - 1;
  box.hidden = false;

  function show(index) {
    const [at, words] = data.steps[index];
    slider.value = index;
    slider.setAttribute("aria-valuetext", words);
    output.textContent = words;
    for (const chart of charts) {
      const left = Number(chart.dataset.left), right = Number(chart.dataset.right);
      const x = left + (at - data.start) / (data.end - data.start) * (right - left);
      const cursor = chart.querySelector(".cursor");
      cursor.setAttribute("x1", x);
      cursor.setAttribute("x2", x);
    }
    figure.classList.add("looking");
  }

  function nearest(at) {
    let best = 0;
    data.steps.forEach(([moment], index) => {
      if (Math.abs(moment - at) < Math.abs(data.steps[best][0] - at)) best = index;
    });
    return best;
  }

  for (const chart of charts) {
    chart.addEventListener("pointermove", (event) => {
      const box = chart.getBoundingClientRect();
      const scale = chart.viewBox.baseVal.width / box.width;
      const x = (event.clientX - box.left) * scale;
      const left = Number(chart.dataset.left), right = Number(chart.dataset.right);
      if (x < left || x > right) return;
      show(nearest(data.start + (x - left) / (right - left) * (data.end - data.start)));
    });
  }
  show(data.first);
  slider.addEventListener("input", () => show(Number(slider.value)));
})();
