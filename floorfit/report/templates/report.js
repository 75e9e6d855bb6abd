"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const plot = document.getElementById("plot");
  const tip = document.getElementById("tip");
  const readout = document.getElementById("readout");
  const back = document.getElementById("back");
  const INK = "#1a1a1a";
  const SMALL = data.unit === "in" ? " × 0.001 in" : " " + data.small;
  const WORDS = {
    warp: `Warp of the underside, ${data.small}. Plus: the plate stands high, the web gets thin. The thick line is zero.`,
    before: `Web if finished at the nominal floor Z, ${data.unit}. Colour: place between the limits, -1 lower, +1 upper. Thick line: at a limit.`,
    after: `Web with the offsets, ${data.unit}. Colour: place between the limits, -1 lower, +1 upper. Thick line: at a limit.`,
    uncertainty: `Expanded uncertainty of the warp (k = 2), ${data.small}.`,
    margin: `Margin to the nearer limit with the offsets, ${data.small}. Below zero: outside. The thick line is zero.`,
  };
  let layer = "warp";
  let chosen = -1;
  let pointer = null;

  // Names reach the drawing library as text; it reads markup in texts, so its signs are turned into entities.
  const inert = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;")
    .replace(/\$/g, "&#36;");
  const short = (text, n) => (text.length > n ? text.slice(0, n - 1) + "…" : text);
  const signed = (value, digits) => (value > 0 ? "+" : "") + value.toFixed(digits);

  function closed(rings) {
    const x = [], y = [];
    for (const ring of rings) {
      for (const p of [...ring, ring[0]]) { x.push(p[0]); y.push(p[1]); }
      x.push(null); y.push(null);
    }
    return { x, y };
  }

  const line = (rings, width, dash) => ({
    ...closed(rings), type: "scatter", mode: "lines", hoverinfo: "skip", showlegend: false,
    line: { color: INK, width, dash: dash || "solid" },
  });

  function shownLayer() {
    if (layer === "before" || layer === "after") return placed(data.layers[layer]);
    return data.layers[layer];
  }

  // Where a web lies between the limits of its floor: -1 lower, +1 upper.
  const placed = (webs) => webs && webs.map((row, j) => row.map((web, i) => {
    if (web === null) return null;
    const [middle, half, sx, sy, cx, cy] = data.scales[data.pocket[j][i]];
    return half === null ? 0 : (web - sx * (data.x[i] - cx) - sy * (data.y[j] - cy) - middle) / half;
  }));

  function extent(z) {
    let low = Infinity, high = -Infinity;
    for (const row of z) for (const v of row) if (v !== null) { low = Math.min(low, v); high = Math.max(high, v); }
    return low > high ? [0, 1] : [low, high];
  }

  function field() {
    const z = shownLayer();
    if (!z) return [];
    const [low, high] = extent(z);
    const plain = layer === "uncertainty";
    const top = layer === "before" || layer === "after" ? 1.5 : Math.max(Math.abs(low), Math.abs(high), 1e-9);
    const common = { x: data.x, y: data.y, z, hoverinfo: "none", showlegend: false };
    const title = layer === "before" || layer === "after" ? "place in<br>tolerance" : data.small;
    const heat = {
      ...common, type: "heatmap", zsmooth: layer === "warp" || plain ? "fast" : false,
      colorscale: plain ? data.sequential : data.diverging, zmin: plain ? low : -top, zmax: plain ? high : top,
      colorbar: { title: { text: title }, thickness: 14, len: 0.95, tickfont: { size: 12 } },
    };
    const contour = (start, end, size, width, dash) => ({
      ...common, type: "contour", hoverinfo: "skip", showscale: false, autocontour: false,
      line: { color: INK, width, dash },
      contours: { coloring: "none", start, end, size },
    });
    if (plain) return [heat];
    if (layer === "before" || layer === "after") return [heat, contour(-1, 1, 2, 2.4, "solid")];
    const zero = contour(0, 0, 1, 2.4, "solid");
    if (layer !== "warp") return [heat, zero];
    const step = roundStep(high - low), last = step * Math.floor(high / step), first = step * Math.ceil(low / step);
    return [heat, ...(last > 0 ? [contour(Math.max(first, step), last, step, 0.6, "solid")] : []),
      ...(first < 0 ? [contour(first, Math.min(last, -step), step, 0.6, "dash")] : []), zero];
  }

  function roundStep(range) {
    const raw = Math.max(range, 1e-9) / 12, power = Math.pow(10, Math.floor(Math.log10(raw)));
    return power * [1, 2, 5, 10].find((m) => m * power >= raw * (1 - 1e-9));
  }

  function plotHeight() {
    const [x0, y0, x1, y1] = data.bounds;
    return Math.max(340, Math.min(620, ((plot.clientWidth || 900) - 150) * (y1 - y0) / (x1 - x0) + 70));
  }

  // Pixels in one unit when the whole part is shown.
  function wholeScale() {
    const [x0, y0, x1, y1] = data.bounds;
    return Math.min(((plot.clientWidth || 900) - 160) / (1.05 * (x1 - x0)), (plotHeight() - 60) / (1.05 * (y1 - y0)));
  }

  function marks() {
    const [x0, y0, x1, y1] = data.bounds;
    const perReading = (x1 - x0) * (y1 - y0) * wholeScale() ** 2 / (data.readings.length || 1);
    const crowded = chosen < 0 && perReading < 900;
    const size = (n) => (crowded ? n * 0.6 : n);
    const used = data.readings.filter((r) => r[2]), aside = data.readings.filter((r) => !r[2]);
    const spots = data.floors.filter((f) => f.suggestion).map((f) => f.suggestion);
    const points = (list, marker) => ({
      x: list.map((r) => r[0]), y: list.map((r) => r[1]), type: "scatter", mode: "markers", hoverinfo: "skip",
      showlegend: false, marker,
    });
    return [
      points(used, { symbol: "circle", size: size(5), color: "#fff", line: { color: INK, width: 1 } }),
      points(aside, { symbol: "x-thin", size: size(8), color: "#a3123a", line: { color: "#a3123a", width: 2 } }),
      points(spots, { symbol: "diamond", size: size(8), color: "#fff", line: { color: INK, width: 1.6 } }),
    ];
  }

  function traces() {
    const rings = (list) => list.flatMap((f) => [f.ring, ...f.islands]);
    const held = data.floors.filter((f) => f.held), rest = data.floors.filter((f) => !f.held);
    const pick = chosen < 0 ? [] : [line([data.floors[chosen].ring], 4)];
    return [...field(), line([data.outline], 1.6), line(rings(rest), 1), line(rings(held), 2.2, "dash"), ...pick,
      ...marks()];
  }

  // A name is shown only where its floor is wide enough for it on the screen.
  function names() {
    const axes = plot._fullLayout;
    let perX = wholeScale(), perY = perX;
    if (axes) {
      const x = axes.xaxis, y = axes.yaxis;
      perX = x._length / Math.abs(x.range[1] - x.range[0]);
      perY = y._length / Math.abs(y.range[1] - y.range[0]);
    }
    return data.floors.flatMap((f) => {
      const xs = f.ring.map((p) => p[0]), ys = f.ring.map((p) => p[1]);
      const room = (Math.max(...xs) - Math.min(...xs)) * perX, height = (Math.max(...ys) - Math.min(...ys)) * perY;
      const letters = Math.floor((room - 8) / 7.5);
      if (letters < Math.min(3, f.id.length) || height < 16) return [];
      const first = inert(short(f.id, letters));
      const offset = f.held ? "hold" : f.offset;
      const both = height > 40 && offset.length <= letters;
      return [{ x: f.label[0], y: f.label[1], text: both ? first + "<br><b>" + inert(offset) + "</b>" : first,
        showarrow: false, font: { size: 12, color: INK }, bgcolor: "rgba(255,255,255,0.72)", borderpad: 1 }];
    });
  }

  function layout() {
    const [x0, y0, x1, y1] = data.bounds;
    const height = plotHeight();
    const pad = 0.02 * Math.max(x1 - x0, y1 - y0);
    return {
      height, margin: { l: 60, r: 10, t: 12, b: 40 }, hovermode: false, dragmode: "zoom",
      paper_bgcolor: "#fff", plot_bgcolor: "#fff", font: { family: "Liberation Sans, Arial, sans-serif", color: INK },
      xaxis: { range: [x0 - pad, x1 + pad], title: { text: `X, ${data.unit}`, standoff: 4 }, zeroline: false,
        showgrid: false },
      yaxis: { range: [y0 - pad, y1 + pad], title: { text: `Y, ${data.unit}`, standoff: 4 }, zeroline: false,
        showgrid: false, scaleanchor: "x", scaleratio: 1 },
    };
  }

  const near = (list, value) => {
    let best = 0;
    list.forEach((v, k) => { if (Math.abs(v - value) < Math.abs(list[best] - value)) best = k; });
    return best;
  };

  function valuesAt(j, i) {
    const get = (name) => data.layers[name][j][i];
    const small = (name, plus) => {
      const v = get(name);
      return v === null ? "–" : (plus ? signed(v, data.smallDecimals) : v.toFixed(data.smallDecimals)) + SMALL;
    };
    const web = (name) => (get(name) === null ? "–" : get(name).toFixed(data.webDecimals) + " " + data.unit);
    const k = data.pocket[j][i];
    const lines = [k < 0 ? "no pocket" : data.floors[k].id];
    lines.push(`X ${data.x[i].toFixed(data.placeDecimals)}, Y ${data.y[j].toFixed(data.placeDecimals)} ${data.unit}`);
    lines.push(`warp ${small("warp", true)}`, `uncertainty (k = 2) ${small("uncertainty", false)}`);
    if (k >= 0) {
      lines.push(`web before ${web("before")}`, `web after ${web("after")}`, `margin ${small("margin", true)}`);
    }
    return lines;
  }

  function show(j, i, at) {
    pointer = [j, i];
    const lines = valuesAt(j, i);
    readout.textContent = lines.join(" · ");
    plot.dataset.row = j; plot.dataset.column = i;
    tip.hidden = !at;
    if (!at) return;
    tip.textContent = [short(lines[0], 60), ...lines.slice(1), ...readingAt(data.x[i], data.y[j])].join("\n");
    tip.style.left = Math.min(at.clientX + 16, window.innerWidth - tip.offsetWidth - 8) + "px";
    tip.style.top = Math.min(at.clientY + 16, window.innerHeight - tip.offsetHeight - 8) + "px";
  }

  function readingAt(x, y) {
    const reach = 1.5 * Math.abs((data.x[data.x.length - 1] - data.x[0]) / Math.max(1, data.x.length - 1));
    const found = data.readings.filter((r) => Math.hypot(r[0] - x, r[1] - y) <= reach);
    return found.slice(0, 3).map((r) => `reading, line ${r[3]}: ${r[2] ? "used" : "set aside"}, residual ${r[4]}`);
  }

  function lines() {
    if (layer !== "warp") return "";
    const step = roundStep(extent(data.layers.warp).reduce((low, high) => high - low));
    const words = data.unit === "in" ? `${Number((step / 1000).toPrecision(1))} in` : `${Number(step.toPrecision(1))} µm`;
    return ` Thin lines: every ${words}, dashed below zero.`;
  }

  let busy = false;
  async function draw(keep) {
    const now = plot._fullLayout;
    const view = layout();
    if (keep && now) {
      view.xaxis.range = [...now.xaxis.range];
      view.yaxis.range = [...now.yaxis.range];
    }
    view.annotations = names();
    await Plotly.react(plot, traces(), view, { displayModeBar: false, responsive: true, doubleClick: false });
    if (now) await relabel();
    document.getElementById("layer-words").textContent = data.layers[layer] ? WORDS[layer] + lines()
      : "No surface could be fitted: only outlines and readings are shown.";
  }

  async function relabel() {
    if (busy) return;
    busy = true;
    await Plotly.relayout(plot, { annotations: names() });
    busy = false;
  }

  function zoom(factor) {
    const { xaxis, yaxis } = plot._fullLayout;
    const scaled = (range) => {
      const middle = (range[0] + range[1]) / 2, half = (range[1] - range[0]) / 2 * factor;
      return [middle - half, middle + half];
    };
    return Plotly.relayout(plot, { "xaxis.range": scaled(xaxis.range), "yaxis.range": scaled(yaxis.range) });
  }

  function whole() { chosen = -1; mark(); back.hidden = true; return draw(false); }

  async function goTo(k) {
    chosen = k;
    mark();
    back.hidden = false;
    await draw(true);
    const xs = data.floors[k].ring.map((p) => p[0]), ys = data.floors[k].ring.map((p) => p[1]);
    const pad = 0.3 * Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
    await Plotly.relayout(plot, {
      "xaxis.range": [Math.min(...xs) - pad, Math.max(...xs) + pad],
      "yaxis.range": [Math.min(...ys) - pad, Math.max(...ys) + pad],
    });
    document.getElementById("map").scrollIntoView();
    back.focus({ preventScroll: true });
    plot.dataset.pocket = k;
    const f = data.floors[k];
    if (data.x.length) show(near(data.y, f.label[1]), near(data.x, f.label[0]), null);
    const details = document.getElementById("pocket-" + k);
    if (details) details.open = true;
  }

  function goBack() {
    const row = document.getElementById("row-" + chosen);
    if (!row) return;
    row.scrollIntoView({ block: "center" });
    row.querySelector(".go").focus({ preventScroll: true });
  }

  function mark() {
    document.querySelectorAll("tr.chosen").forEach((row) => row.classList.remove("chosen"));
    const row = document.getElementById("row-" + chosen);
    if (row) row.classList.add("chosen");
  }

  function sortBy(key, head) {
    const falling = head.getAttribute("aria-sort") === "ascending";
    const body = document.querySelector("#pocket-table tbody");
    const value = (row) => (row.dataset[key] === "" ? -Infinity : Number(row.dataset[key]));
    const order = (a, b) => { const u = value(a), v = value(b); return u === v ? 0 : u < v ? -1 : 1; };
    const rows = [...body.rows].sort((a, b) => (falling ? order(b, a) : order(a, b)));
    body.append(...rows);
    document.querySelectorAll("#pocket-table th[aria-sort]").forEach((th) => th.setAttribute("aria-sort", "none"));
    head.setAttribute("aria-sort", falling ? "descending" : "ascending");
  }

  function keys(event) {
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [1, 0], ArrowDown: [-1, 0] }[event.key];
    if (step && data.x.length) {
      const [j, i] = pointer || [Math.floor(data.y.length / 2), Math.floor(data.x.length / 2)];
      show(Math.min(Math.max(j + step[0], 0), data.y.length - 1), Math.min(Math.max(i + step[1], 0), data.x.length - 1), null);
    } else if (event.key === "+") zoom(0.7);
    else if (event.key === "-") zoom(1.4);
    else if (event.key === "Home") whole();
    else return;
    event.preventDefault();
  }

  function listen() {
    document.querySelectorAll("input[name=layer]").forEach((input) =>
      input.addEventListener("change", () => { layer = input.value; draw(true); }));
    document.getElementById("zoom-in").addEventListener("click", () => zoom(0.7));
    document.getElementById("zoom-out").addEventListener("click", () => zoom(1.4));
    document.getElementById("whole").addEventListener("click", whole);
    back.addEventListener("click", goBack);
    plot.addEventListener("keydown", keys);
    document.querySelector("#pocket-table tbody").addEventListener("click", (event) => {
      const row = event.target.closest("tr");
      if (row) goTo(Number(row.dataset.pocket));
    });
    document.querySelectorAll("#pocket-table [data-sort]").forEach((button) =>
      button.addEventListener("click", () => sortBy(button.dataset.sort, button.closest("th"))));
    document.querySelectorAll(".show").forEach((link) => link.addEventListener("click", (event) => {
      event.preventDefault();
      goTo(Number(link.dataset.pocket));
    }));
    let opened = [];
    window.addEventListener("beforeprint", () => {
      opened = [...document.querySelectorAll("details:not([open])")];
      opened.forEach((item) => { item.open = true; });
    });
    window.addEventListener("afterprint", () => opened.forEach((item) => { item.open = false; }));
  }

  // The node of the map under the pointer, or null beside the drawing.
  function nodeUnder(event) {
    const { xaxis, yaxis } = plot._fullLayout, box = plot.getBoundingClientRect();
    const px = event.clientX - box.left - xaxis._offset, py = event.clientY - box.top - yaxis._offset;
    if (!data.x.length || px < 0 || py < 0 || px > xaxis._length || py > yaxis._length) return null;
    return [near(data.y, yaxis.p2c(py)), near(data.x, xaxis.p2c(px))];
  }

  function follow() {
    plot.addEventListener("mousemove", (event) => {
      const node = nodeUnder(event);
      if (node) show(...node, event); else tip.hidden = true;
    });
    plot.addEventListener("mouseleave", () => { tip.hidden = true; });
    plot.on("plotly_relayout", (change) => { if (!("annotations" in change)) relabel(); });
    plot.on("plotly_doubleclick", () => { whole(); return false; });
  }

  listen();
  draw(false).then(() => { follow(); document.documentElement.dataset.ready = "yes"; });
})();
