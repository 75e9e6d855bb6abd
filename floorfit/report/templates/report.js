"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const plot = document.getElementById("plot"), tiles = document.getElementById("tiles");
  const art = document.getElementById("art"), tip = document.getElementById("tip");
  const readout = document.getElementById("readout"), back = document.getElementById("back");
  const say = data.words, [X0, Y0, X1, Y1] = data.bounds;
  const along = X1 - X0 >= Y1 - Y0 ? 0 : 1, AXIS = [46, 20], FONT = 12, LINE = 14;
  let layer = "warp", size = 1, chosen = -1, pointer = null, shown = [];

  const esc = (text) => text.replace(/[&<>"]/g, (c) => `&#${c.charCodeAt(0)};`);
  const short = (text, n) => (text.length > n ? text.slice(0, n - 1) + "…" : text);
  const number = (value, digits, plus) =>
    ((plus && value > 0 ? "+" : "") + value.toFixed(digits)).replace(/^-(0[.]?0*)$/, "$1").replace(".", data.decimal);
  const span = (ring, axis) => [Math.min(...ring.map((p) => p[axis])), Math.max(...ring.map((p) => p[axis]))];
  const boxes = data.floors.map((f) => [span(f.ring, 0), span(f.ring, 1)]);
  const path = (ring) => "M" + ring.map((p) => p.join(" ")).join("L") + "Z";

  // Where a web lies between the limits of its floor: -1 upper (thick), +1 lower (thin).
  const placed = (webs) => webs && webs.map((row, j) => row.map((web, i) => {
    if (web === null) return null;
    const [middle, half, sx, sy, cx, cy] = data.scales[data.pocket[j][i]];
    return half === null ? 0 : (middle - web + sx * (data.x[i] - cx) + sy * (data.y[j] - cy)) / half;
  }));

  function extent(z) {
    let low = Infinity, high = -Infinity;
    for (const row of z) for (const v of row) if (v !== null) { low = Math.min(low, v); high = Math.max(high, v); }
    return low > high ? [0, 1] : [low, high];
  }

  // Values, colours, ends of the scale, and whether dark stands for little (margin).
  function scale() {
    const isWeb = layer === "before" || layer === "after";
    const z = isWeb ? placed(data.layers[layer]) : data.layers[layer];
    if (!z) return null;
    if (isWeb) return { z, anchors: data.web, low: -2, high: 2 };
    const [low, high] = extent(z), top = Math.max(Math.abs(low), Math.abs(high), 1e-9);
    if (layer === "warp") return { z, anchors: data.web, low: -top, high: top };
    return layer === "margin" ? { z, anchors: data.amount, low: high, high: low } : { z, anchors: data.amount, low, high };
  }

  function colour(anchors, share) {
    const at = Math.min(Math.max(share, 0), 1) * (anchors.length - 1), k = Math.min(Math.floor(at), anchors.length - 2);
    return anchors[k].map((c, i) => Math.round(c + (anchors[k + 1][i] - c) * (at - k)));
  }

  // The layer as a picture of one pixel a node; empty nodes at an edge take a neighbour's colour, the clip cuts them.
  function picture({ z, anchors, low, high }) {
    const canvas = document.createElement("canvas"), rows = z.length, columns = z[0].length;
    canvas.width = columns; canvas.height = rows;
    const context = canvas.getContext("2d"), image = context.createImageData(columns, rows);
    const near = (j, i) => {
      for (let r = 0; r < 3; r++) for (let b = -r; b <= r; b++) for (let a = -r; a <= r; a++) {
        const v = z[j + b] && z[j + b][i + a];
        if (v !== null && v !== undefined) return v;
      }
      return null;
    };
    for (let j = 0; j < rows; j++) for (let i = 0; i < columns; i++) {
      const v = near(j, i);
      if (v !== null) image.data.set([...colour(anchors, (v - low) / (high - low || 1)), 255], 4 * (j * columns + i));
    }
    context.putImageData(image, 0, 0);
    return canvas.toDataURL();
  }

  function field() {
    const now = scale();
    if (!now) return "";
    const dx = (data.x.at(-1) - data.x[0]) / (data.x.length - 1 || 1), dy = (data.y.at(-1) - data.y[0]) / (data.y.length - 1 || 1);
    const clip = layer === "warp" || layer === "uncertainty" ? "part-clip" : "floors-clip";
    return `<g clip-path="url(#${clip})"><image href="${picture(now)}" x="${data.x[0] - dx / 2}" y="${data.y[0] - dy / 2}" ` +
      `width="${dx * data.x.length}" height="${dy * data.y.length}" preserveAspectRatio="none"/></g>`;
  }

  // All that is drawn in the part's own unit, once; every tile shows a piece of it.
  function drawArt() {
    const rings = data.floors.map((f) => path(f.ring)), lines = data.lines[layer] || {};
    document.getElementById("clips").innerHTML = `<clipPath id="part-clip"><path d="${path(data.outline)}"/></clipPath>` +
      `<clipPath id="floors-clip"><path d="${rings.join("")}"/></clipPath>`;
    const thin = (d, more) => (d ? `<path class="line" d="${d}" ${more}/>` : "");
    const dot = (p, width, fill) => `<path class="line" d="M${p[0]} ${p[1]}h0" stroke="${fill}" stroke-width="${width}" stroke-linecap="round"/>`;
    const dots = data.used.flatMap((p, k) => { const w = data.sizes.length ? 3 + 7 * data.sizes[k] : 5; return [dot(p, w + 1.5, "#1a1a1a"), dot(p, w - 1, "#fff")]; });
    art.innerHTML = field() + thin(lines.plus, 'stroke-width=".7"') + thin(lines.minus, 'stroke-width=".7" stroke-dasharray="5 3"') +
      thin(lines.zero, 'stroke-width="2.4"') + `<path class="line" d="${path(data.outline)}" stroke-width="1.8"/>` +
      data.floors.map((f, k) => `<path class="line${k === chosen ? " chosen-floor" : ""}" d="${rings[k]}" stroke-width="${k === chosen ? 4 : 1.1}"` +
        `${f.standing ? ` style="fill:url(#${f.standing})"` : ""}/>` + f.islands.map((ring) => `<path class="line" d="${path(ring)}" style="fill:#fff"/>`).join("")).join("") +
      dots.join("") + `<path class="line aside-marks" d=""/><path class="line spots" d=""/>`;
  }

  const context = document.createElement("canvas").getContext("2d");
  const wide = (text, bold) => { context.font = `${bold ? "bold " : ""}${FONT}px "Liberation Sans", Arial, sans-serif`; return context.measureText(text).width; };
  function linesOf(f) {
    const more = f.more.includes("…") ? f.more.replace("…", "…\n").split("\n") : f.more ? [f.more] : [];
    return [[short(f.id, 24), false], ...f.said.map((text) => [text, true]), ...more.map((text) => [text, false])];
  }
  const needs = data.floors.map((f) => {
    const lines = linesOf(f);
    return { lines, w: Math.max(...lines.map(([text, bold]) => wide(text, bold))) + (f.angle === null ? 8 : 24), h: lines.length * LINE + 6 };
  });

  // Pixels for a unit: every label fits its floor, the part not smaller than the room and not more than 30 times it.
  function pixels(room) {
    const [width, height] = [X1 - X0, Y1 - Y0];
    const whole = Math.min(room / width, (along ? 700 : 520) / height);
    const want = needs.map((n, k) => Math.max(n.w / (boxes[k][0][1] - boxes[k][0][0]), n.h / (boxes[k][1][1] - boxes[k][1][0])));
    const most = along ? Math.min(30 * whole, room / width) : 30 * whole;
    return Math.min(Math.max(whole, ...want), Math.max(most, whole)) * size;
  }

  // Cut where the fewest floors are cut, near equal lengths.
  function cuts(low, high, n) {
    const found = [low];
    for (let k = 1; k < n; k++) {
      const step = (high - low) / n;
      let best = null;
      for (let t = -60; t <= 60; t++) {
        const at = low + k * step + 0.2 * step * t / 60;
        const crossed = boxes.filter((b) => b[along][0] < at && at < b[along][1]).length;
        if (!best || crossed < best[0] || (crossed === best[0] && Math.abs(t) < best[2])) best = [crossed, at, Math.abs(t)];
      }
      found.push(best[1]);
    }
    return [...found, high];
  }

  function layOut(width) {
    const room = Math.max(200, width - AXIS[0] - 4), pad = 0.01 * Math.max(X1 - X0, Y1 - Y0);
    let scale = pixels(room);
    const low = (along ? Y0 : X0) - pad, high = (along ? Y1 : X1) + pad, long = high - low;
    const most = along ? Math.max(640, (Y1 - Y0) * scale / Math.max(1, Math.floor(width / ((X1 - X0) * scale + AXIS[0] + 20)))) : room;
    const n = Math.max(1, Math.ceil(long * scale / most - 1e-6)), ends = cuts(low, high, n);
    const longest = Math.max(...ends.slice(1).map((e, k) => e - ends[k]));
    scale = Math.min(scale, most / longest);
    shown = ends.slice(1).map((end, k) => along ? { x: [X0 - pad, X1 + pad], y: [ends[k], end], scale } : { x: [ends[k], end], y: [Y0 - pad, Y1 + pad], scale });
    for (const id of ["held", "undecided", "nonconform"]) {
      document.getElementById(id).setAttribute("patternTransform", `scale(${1 / scale})${id === "held" ? " rotate(45)" : ""}`);
    }
    const arm = 4 / scale, cross = ([x, y]) => `M${x - arm} ${y - arm}L${x + arm} ${y + arm}M${x - arm} ${y + arm}L${x + arm} ${y - arm}`;
    const r = 5 / scale, spot = ([x, y]) => `M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z`;
    art.querySelector(".aside-marks").setAttribute("d", data.aside.map(cross).join(""));
    art.querySelector(".spots").setAttribute("d", data.floors.filter((f) => f.suggestion).map((f) => spot(f.suggestion)).join(""));
    tiles.innerHTML = shown.map(tile).join("");
    tiles.dataset.tiles = n;
  }

  const holds = (t, [x, y]) => t.x[0] <= x && x < t.x[1] && t.y[0] <= y && y < t.y[1];

  function tile(t, k) {
    const w = (t.x[1] - t.x[0]) * t.scale, h = (t.y[1] - t.y[0]) * t.scale, W = w + AXIS[0], H = h + AXIS[1];
    return `<svg class="tile" data-tile="${k}" width="${W.toFixed(0)}" height="${H.toFixed(0)}" viewBox="0 0 ${W.toFixed(1)} ${H.toFixed(1)}" aria-hidden="true">` +
      `<svg x="${AXIS[0]}" y="0" width="${w.toFixed(1)}" height="${h.toFixed(1)}"><use href="#art" transform="translate(${-t.x[0] * t.scale} ${t.y[1] * t.scale}) scale(${t.scale} ${-t.scale})"/>` +
      `<circle class="pointer" r="6" cx="-99" cy="-99"/></svg>${ticks(t, w, h)}${labels(t, w, h)}</svg>`;
  }

  function roundStep(raw) {
    const power = Math.pow(10, Math.floor(Math.log10(Math.max(raw, 1e-9))));
    return power * [1, 2, 5, 10].find((m) => m * power >= raw * (1 - 1e-9));
  }

  function ticks(t, w, h) {
    const marks = (axis, room) => {
      const ends = axis ? t.y : t.x, step = roundStep((ends[1] - ends[0]) / Math.max(1, room / 70)), out = [];
      for (let v = Math.ceil(ends[0] / step) * step; v <= ends[1]; v += step) out.push(v);
      return out.map((v) => [v, number(v, step < 1 ? 1 : 0)]);
    };
    const x = marks(0, w).filter(([v]) => (v - t.x[0]) * t.scale < w - 18).map(([v, text]) => `<text class="tick" x="${AXIS[0] + (v - t.x[0]) * t.scale}" y="${h + 14}" text-anchor="middle">${text}</text>`);
    const y = marks(1, h).filter(([v]) => (t.y[1] - v) * t.scale > 8).map(([v, text]) => `<text class="tick" x="${AXIS[0] - 4}" y="${(t.y[1] - v) * t.scale + 4}" text-anchor="end">${text}</text>`);
    return x.join("") + y.join("");
  }

  // Floors that lie within another one's box, a pad for example, by the outer floor; and all floors, the smallest first.
  const area = ([x, y]) => (x[1] - x[0]) * (y[1] - y[0]);
  const within = (b, o) => o[0][0] <= b[0][0] && b[0][1] <= o[0][1] && o[1][0] <= b[1][0] && b[1][1] <= o[1][1];
  const nested = boxes.map((o, k) => boxes.filter((b, j) => j !== k && within(b, o) && area(b) < area(o)));
  const smallest = boxes.map((_, k) => k).sort((a, b) => area(boxes[a]) - area(boxes[b]));

  // Name, action and number of every floor of a tile. The smallest comes first, so that a pad keeps its place; one that
  // does not fit into its floor beside pads and other labels stands beside it, with a leader.
  function labels(t, w, h) {
    const taken = [], out = data.floors.map(() => "");
    const meet = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
    const px = ([x, y]) => [AXIS[0] + (x[0] - t.x[0]) * t.scale, (t.y[1] - y[1]) * t.scale, AXIS[0] + (x[1] - t.x[0]) * t.scale, (t.y[1] - y[0]) * t.scale];
    const free = (box) => box[0] >= AXIS[0] && box[1] >= 0 && box[2] <= AXIS[0] + w && box[3] <= h && !taken.some((o) => meet(box, o));
    for (const k of smallest) {
      const f = data.floors[k], n = needs[k];
      if (!holds(t, f.label)) continue;
      const cx = AXIS[0] + (f.label[0] - t.x[0]) * t.scale, cy = (t.y[1] - f.label[1]) * t.scale, pads = nested[k].map(px), own = px(boxes[k]);
      const clear = (box) => !pads.some((o) => meet(box, o)), at = (x, y) => [x - n.w / 2, y - n.h / 2, x + n.w / 2, y + n.h / 2];
      const inside = (box) => box[0] >= own[0] && box[1] >= own[1] && box[2] <= own[2] && box[3] <= own[3];
      const ring = [];
      for (let r = 0; r < 160; r += 8) for (let a = 0; a < (r ? 12 : 1); a++) ring.push([cx + r * Math.cos(a * Math.PI / 6), cy + r * Math.sin(a * Math.PI / 6), r]);
      const wishes = pads.length ? [(box) => inside(box) && clear(box), clear, () => true] : [() => true];
      let found = null;
      for (const wish of wishes) {
        found = ring.find(([x, y]) => free(at(x, y)) && wish(at(x, y)));
        if (found) break;
      }
      if (!found) continue;
      const [x, y, r] = found;
      taken.push(at(x, y));
      out[k] = (r > 24 ? `<path class="leader" d="M${cx} ${cy}L${x} ${y}"/>` : "") + label(f, k, n, x, y);
    }
    return out.join("");
  }

  function label(f, k, n, x, y) {
    const top = y - n.h / 2 + 3 + FONT - 1;
    const rows = n.lines.map(([text, bold], j) => `<tspan x="${(x + (f.angle !== null && j === n.lines.length - 1 ? 8 : 0)).toFixed(1)}" y="${(top + j * LINE).toFixed(1)}"${bold ? ' font-weight="bold"' : ""}>${esc(text)}</tspan>`);
    let arrow = "";
    if (f.angle !== null) {
      const ax = x - wide(f.more, false) / 2 - 2, ay = top + (n.lines.length - 1) * LINE - 4, turn = -f.angle * 180 / Math.PI;
      arrow = `<path class="arrow" d="M-7 0H4M0 -3.5L7 0L0 3.5Z" transform="translate(${ax.toFixed(1)} ${ay.toFixed(1)}) rotate(${turn.toFixed(1)})"/>`;
    }
    return `<g class="label" data-pocket="${k}"><rect x="${(x - n.w / 2).toFixed(1)}" y="${(y - n.h / 2).toFixed(1)}" width="${n.w.toFixed(1)}" height="${n.h}"/>` +
      `<text text-anchor="middle" font-size="${FONT}">${rows.join("")}</text>${arrow}</g>`;
  }

  function legend() {
    const now = scale(), bar = document.getElementById("legend");
    bar.hidden = !now;
    if (!now) return;
    const stops = now.anchors.map((c) => `rgb(${c.join(",")})`).join(",");
    const signed = layer === "warp" || layer === "margin", ends = [now.low, now.high].map((v) => number(v, data.decimals, signed));
    const text = { warp: [`${ends[0]} ${say.thick}`, "0", `${ends[1]} ${say.thin}`], before: [`${say.thick} (${say.upper})`, say.nominal, `${say.thin} (${say.lower})`] };
    const words = text[layer === "after" ? "before" : layer] || [ends[0], "", ends[1]];
    bar.innerHTML = `<span class="ramp" style="background:linear-gradient(90deg,${stops})"></span>` + words.map((w) => `<span>${esc(w)}</span>`).join("");
  }

  function draw() {
    drawArt();
    layOut(plot.clientWidth);
    legend();
    const words = data.layers[layer] ? say[layer] : say.none;
    const lines = layer === "warp" && data.step ? " " + say.every.replace("{step}", String(Number(data.step.toPrecision(2))).replace(".", data.decimal)) : "";
    document.getElementById("layer-words").textContent = (words + lines).replaceAll("{unit}", data.unit);
  }

  const near = (list, value) => list.reduce((best, v, k) => (Math.abs(v - value) < Math.abs(list[best] - value) ? k : best), 0);

  function valuesAt(j, i) {
    const get = (name, plus) => { const v = data.layers[name][j][i]; return v === null ? "–" : `${number(v, data.decimals + 1, plus)} ${data.unit}`; };
    const k = data.pocket[j][i], place = (v) => number(v, data.placeDecimals);
    const lines = k < 0 ? [say.outside] : [data.floors[k].id, data.floors[k].text];
    lines.push(`X ${place(data.x[i])}, Y ${place(data.y[j])} ${data.unit}`, `${say.warpAt} ${get("warp", true)}`, `${say.uAt} ${get("uncertainty")}`);
    if (k >= 0) lines.push(`${say.beforeAt} ${get("before")}`, `${say.afterAt} ${get("after")}`, `${say.marginAt} ${get("margin", true)}`);
    return lines;
  }

  function readingsAt(x, y) {
    const reach = 6 / (shown[0] ? shown[0].scale : 1);
    return data.readings.filter((r) => Math.hypot(r[0] - x, r[1] - y) <= reach).slice(0, 3)
      .map((r) => `${say.line} ${r[3]}: ${r[2] ? say.used : say.aside}, ${say.residual} ${r[4]} ${data.unit}`);
  }

  function show(j, i, at, place) {
    pointer = [j, i];
    const lines = valuesAt(j, i);
    readout.textContent = lines.join(" · ");
    plot.dataset.row = j; plot.dataset.column = i;
    const here = [data.x[i], data.y[j]];
    shown.forEach((t, k) => {
      const dot = tiles.querySelector(`[data-tile="${k}"] .pointer`), inside = !at && holds(t, here);
      dot.setAttribute("cx", inside ? (here[0] - t.x[0]) * t.scale : -99);
      dot.setAttribute("cy", inside ? (t.y[1] - here[1]) * t.scale : -99);
    });
    tip.hidden = !at;
    if (!at) return;
    tip.textContent = [short(lines[0], 60), ...lines.slice(1), ...readingsAt(...place)].join("\n");
    tip.style.left = Math.max(4, Math.min(at.clientX + 16, window.innerWidth - tip.offsetWidth - 8)) + "px";
    tip.style.top = Math.max(4, Math.min(at.clientY + 16, window.innerHeight - tip.offsetHeight - 8)) + "px";
  }

  // The place on the part under the pointer, or null beside the drawing.
  function placeUnder(event) {
    const svg = event.target.closest(".tile");
    if (!svg || !data.x.length) return null;
    const t = shown[Number(svg.dataset.tile)], box = svg.getBoundingClientRect(), shrink = svg.viewBox.baseVal.width / box.width;
    const x = t.x[0] + ((event.clientX - box.left) * shrink - AXIS[0]) / t.scale, y = t.y[1] - (event.clientY - box.top) * shrink / t.scale;
    return holds(t, [x, y]) ? [x, y] : null;
  }

  function choose(k) {
    chosen = k;
    document.querySelectorAll("tr.chosen").forEach((row) => row.classList.remove("chosen"));
    document.getElementById("row-" + k)?.classList.add("chosen");
    art.querySelectorAll(".chosen-floor").forEach((ring) => { ring.classList.remove("chosen-floor"); ring.setAttribute("stroke-width", 1.1); });
    draw();
  }

  function goTo(k) {
    choose(k);
    back.hidden = false;
    const f = data.floors[k], t = shown.findIndex((one) => holds(one, f.label));
    tiles.querySelector(`[data-tile="${t}"]`)?.scrollIntoView({ block: "center" });
    back.focus({ preventScroll: true });
    plot.dataset.pocket = k;
    if (data.x.length) show(near(data.y, f.label[1]), near(data.x, f.label[0]), null);
    const details = document.getElementById("pocket-" + k);
    if (details) details.open = true;
  }

  function goBack() {
    const row = document.getElementById("row-" + chosen);
    row?.scrollIntoView({ block: "center" });
    row?.querySelector(".go").focus({ preventScroll: true });
  }

  function sortBy(key, head) {
    const falling = head.getAttribute("aria-sort") === "ascending";
    const body = document.querySelector("#pocket-table tbody");
    const value = (row) => (row.dataset[key] === "" ? -Infinity : Number(row.dataset[key]));
    const order = (a, b) => value(a) - value(b) || 0;
    body.append(...[...body.rows].sort((a, b) => (falling ? order(b, a) : order(a, b))));
    document.querySelectorAll("#pocket-table th[aria-sort]").forEach((th) => th.setAttribute("aria-sort", "none"));
    head.setAttribute("aria-sort", falling ? "descending" : "ascending");
  }

  function resize(factor) { size = factor ? Math.min(Math.max(size * factor, 0.05), 8) : 1; draw(); }

  function keys(event) {
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [1, 0], ArrowDown: [-1, 0] }[event.key];
    if (step && data.x.length) {
      const [j, i] = pointer || [Math.floor(data.y.length / 2), Math.floor(data.x.length / 2)];
      show(Math.min(Math.max(j + step[0], 0), data.y.length - 1), Math.min(Math.max(i + step[1], 0), data.x.length - 1), null);
    } else if (event.key === "+") resize(1.4);
    else if (event.key === "-") resize(1 / 1.4);
    else if (event.key === "Home") resize(0);
    else if (event.key === "Enter" && pointer && data.pocket[pointer[0]][pointer[1]] >= 0) goTo(data.pocket[pointer[0]][pointer[1]]);
    else return;
    event.preventDefault();
  }

  function listen() {
    document.querySelectorAll("input[name=layer]").forEach((input) =>
      input.addEventListener("change", () => { layer = input.value; draw(); }));
    document.getElementById("zoom-in").addEventListener("click", () => resize(1.4));
    document.getElementById("zoom-out").addEventListener("click", () => resize(1 / 1.4));
    document.getElementById("fit").addEventListener("click", () => resize(0));
    back.addEventListener("click", goBack);
    plot.addEventListener("keydown", keys);
    const follow = (event) => {
      const place = placeUnder(event);
      if (place) show(near(data.y, place[1]), near(data.x, place[0]), event, place); else tip.hidden = true;
    };
    tiles.addEventListener("mousemove", follow);
    tiles.addEventListener("click", follow);
    tiles.addEventListener("mouseleave", () => { tip.hidden = true; });
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
    let width = plot.clientWidth;
    window.addEventListener("resize", () => { if (plot.clientWidth !== width) { width = plot.clientWidth; draw(); } });
    window.addEventListener("beforeprint", () => layOut(1050));
    window.addEventListener("afterprint", draw);
  }

  listen();
  draw();
  document.documentElement.dataset.ready = "yes";
})();
