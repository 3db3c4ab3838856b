"use strict";
(function () {
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const config = { displayModeBar: false, responsive: true, scrollZoom: false };
  const map = document.getElementById("map");
  if (map) { const m = read("map-data"); Plotly.newPlot(map, m.data, m.layout, config); }

  // On paper nothing can be opened: the parts are, the definitions stay folded.
  const parts = [...document.querySelectorAll("details.part")];
  window.addEventListener("beforeprint", () => { for (const p of parts) { p.dataset.was = p.open ? "yes" : ""; p.open = true; } });
  window.addEventListener("afterprint", () => { for (const p of parts) p.open = p.dataset.was === "yes"; });

  const film = document.getElementById("film");
  if (film) {
    // The browser's own controls lie over the stroke clock; these stand below it and step by one picture.
    const at = document.getElementById("film-at"), go = document.getElementById("film-play");
    const step = 1 / 30;
    film.removeAttribute("controls");
    document.getElementById("film-controls").hidden = false;
    const length = () => { if (film.duration) at.max = film.duration; };
    length(); film.addEventListener("loadedmetadata", length);
    film.addEventListener("timeupdate", () => { at.value = film.currentTime; });
    at.addEventListener("input", () => { film.pause(); film.currentTime = Number(at.value); });
    const toggle = () => { if (film.paused) film.play(); else film.pause(); };
    go.addEventListener("click", toggle); film.addEventListener("click", toggle);
    film.addEventListener("play", () => { go.textContent = "Pause"; });
    film.addEventListener("pause", () => { go.textContent = "Play"; });
    const move = (by) => { film.pause(); film.currentTime = Math.min(Math.max(film.currentTime + by, 0), film.duration || 0); };
    document.getElementById("film-back").addEventListener("click", () => move(-step));
    document.getElementById("film-on").addEventListener("click", () => move(step));
    const full = document.getElementById("film-full");
    if (film.requestFullscreen || film.webkitEnterFullscreen) {
      full.addEventListener("click", () => (film.requestFullscreen ? film.requestFullscreen() : film.webkitEnterFullscreen()));
    } else full.hidden = true;
  }

  const box = document.getElementById("scene");
  const data = read("scene-data");
  const slider = document.getElementById("step"), when = document.getElementById("when");
  const play = document.getElementById("play"), pick = document.getElementById("swing");
  let swing = data.swings[data.best], timer = null;

  function lines(points, pairs) {
    const out = { x: [], y: [], z: [] };
    for (const [a, b] of pairs) {
      const p = points[a], q = points[b];
      if (p[0] === null || q[0] === null) continue;
      out.x.push(p[0], q[0], null); out.y.push(p[1], q[1], null); out.z.push(p[2], q[2], null);
    }
    return out;
  }
  function dots(points, keep) {
    const out = { x: [], y: [], z: [], index: [] };
    for (const i of data.dots) {
      if (points[i][0] === null || !keep(i)) continue;
      out.x.push(points[i][0]); out.y.push(points[i][1]); out.z.push(points[i][2]); out.index.push(i);
    }
    return out;
  }
  const share = (v) => v === null ? "unknown" : Math.round(100 * v) + "% of body height";
  const ahead = (v) => v === null ? "" : ", " + Math.round(Math.abs(100 * v)) + "% " + (v < 0 ? "behind" : "ahead of") + " the hips";
  function told(i, k) {
    const d = swing.differences[k][i], p = swing.player[k][i], m = swing.model[k][i];
    return "<b>" + data.joints[i] + "</b><br>" +
      (d === null ? "Difference not visible from this view" : "Difference from the model " + Math.round(d) + "°") +
      "<br>" + data.player + ": height " + share(p[2]) + ahead(p[0]) +
      "<br>" + data.model + ": height " + share(m[2]) + ahead(m[0]);
  }
  function bodies(k) {
    const player = swing.player[k], model = swing.model[k], diff = swing.differences[k];
    const racket = (r) => r ? lines(r[k], data.racket) : { x: [], y: [], z: [] };
    const all = [lines(model, data.bones), racket(swing.model_racket), lines(player, data.bones),
      racket(swing.player_racket), dots(model, () => true), dots(player, (i) => diff[i] === null),
      dots(player, (i) => diff[i] !== null)];
    all.forEach((t) => { if (t.index) t.text = t.index.map((i) => told(i, k)); });
    return all;
  }
  const FIRST = 2;
  function fill(k) {
    const all = bodies(k), figure = data.figure;
    all.forEach((t, n) => {
      const trace = figure.data[FIRST + n];
      Object.assign(trace, { x: t.x, y: t.y, z: t.z });
      if (t.text) trace.text = t.text;
    });
    const last = figure.data[FIRST + 6];
    last.marker.color = all[6].index.map((i) => swing.differences[k][i]);
    last.customdata = all[6].index;
  }
  function show(k) {
    fill(k);
    data.figure.layout.datarevision = (data.figure.layout.datarevision || 0) + 1;
    Plotly.react(box, data.figure.data, data.figure.layout, config);
    say(k);
  }
  function say(k) {
    const words = swing.labels[k] + (swing.phases[k] ? ", " + swing.phases[k].toLowerCase() : "");
    when.replaceChildren();
    const a = document.createElement("strong"), b = document.createElement("span");
    a.textContent = swing.phases[k] || "Before or after the stroke"; b.textContent = swing.labels[k];
    when.append(a, b);
    slider.setAttribute("aria-valuetext", words);
  }
  function stop() { if (timer !== null) { clearInterval(timer); timer = null; } play.textContent = "Play"; }
  if (box.clientWidth < 520) {  // a narrow screen: step back, so that the racket stays in the picture
    const eye = data.figure.layout.scene.camera.eye;
    eye.x *= 1.3; eye.y *= 1.3;
  }
  fill(swing.contact);
  slider.max = swing.labels.length - 1; slider.value = swing.contact;
  Plotly.newPlot(box, data.figure.data, data.figure.layout, config).then(() => { say(swing.contact); box.dataset.ready = "yes"; });
  slider.addEventListener("input", () => { stop(); show(Number(slider.value)); });
  play.addEventListener("click", () => {
    if (timer !== null) { stop(); return; }
    play.textContent = "Pause";
    timer = setInterval(() => {
      slider.value = (Number(slider.value) + 1) % swing.labels.length; show(Number(slider.value));
    }, 90);
  });
  document.getElementById("contact").addEventListener("click", () => { stop(); slider.value = swing.contact; show(swing.contact); });
  if (pick) pick.addEventListener("change", () => {
    stop(); swing = data.swings[Number(pick.value)]; slider.max = swing.labels.length - 1;
    slider.value = swing.contact; show(swing.contact);
  });
})();
