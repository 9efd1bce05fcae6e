// Drawings of curves are read point by point (pointer, or arrow keys on the slider below) and looked at closer (buttons; wheel, drag and
// pinch on the drawing). The numbers come with the drawing; without this script, and on paper, it is complete as it stands.
(() => {
  "use strict";
  const SVG = "http://www.w3.org/2000/svg";
  const NARROW = "\u202f";
  const CLOSEST = 50;
  const STEP = 1.4;
  const STOPS = 120;
  const comma = document.documentElement.lang.startsWith("de");

  const digits = (span) => Math.min(8, Math.max(0, Math.round(Math.log10(400 / span))));
  const number = (value, places) => {
    const text = Math.abs(value).toFixed(places);
    return `${value < 0 && Number(text) !== 0 ? "\u2212" : ""}${comma ? text.replace(".", ",") : text}`;
  };
  const nameAndUnit = (label) => {
    const cut = label.lastIndexOf(", ");
    return cut < 0 ? [label, ""] : [label.slice(0, cut), label.slice(cut + 2)];
  };
  const element = (name, attributes, parent) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) {
      made.setAttribute(key, typeof value === "number" ? value.toFixed(2) : value);
    }
    parent.append(made);
    return made;
  };
  const nearest = (rows, x) => rows.reduce((best, row) => (Math.abs(row[0] - x) < Math.abs(best[0] - x) ? row : best));
  // Between two rows the curve is straight, as it is drawn.
  const between = (rows, x) => {
    const next = rows.findIndex((row) => row[0] >= x);
    if (next < 0 || (next === 0 && rows[0][0] > x)) return null;
    if (next === 0) return rows[0].slice(1);
    const [a, b] = [rows[next - 1], rows[next]];
    const share = b[0] > a[0] ? (x - a[0]) / (b[0] - a[0]) : 1;
    return a.slice(1).map((value, at) => value + share * (b[at + 1] - value));
  };

  let count = 0;
  const start = (chart) => {
    const svg = chart.querySelector("svg.plot");
    const { x: ax, y: ay, layers } = JSON.parse(svg.dataset.plot);
    const [left, right, firstX, lastX] = ax;
    const [bottom, top, firstY, lastY] = ay;
    const [yLabel, xLabel] = [...svg.querySelectorAll(".axis-title")].map((label) => nameAndUnit(label.textContent));
    const keys = [...chart.querySelectorAll(".key li")];
    const names = keys.map((key) => key.querySelector("span").textContent);
    const values = keys.map((key) => key.appendChild(Object.assign(document.createElement("strong"), { className: "read" })));
    const tools = chart.querySelector(".chart-tools");
    const [slider, spoken, to] = [tools.querySelector("input"), chart.querySelector(".chart-at"), tools.querySelector(".word-to").textContent];
    const [closer, further, whole] = tools.querySelectorAll("button");
    const drawn = [...svg.children].filter((one) => !/^(title|desc)$/.test(one.tagName) && !one.classList.contains("axis-title"));
    const title = svg.querySelector("title");
    svg.setAttribute("aria-label", title.textContent);
    title.remove();
    slider.setAttribute("aria-label", `${tools.querySelector("label").textContent}: ${svg.getAttribute("aria-label")}`);
    const full = { x0: firstX, x1: lastX, y0: firstY, y1: lastY };
    let view = { ...full };
    let [close, marks, at, active] = [null, null, null, false];

    const isWhole = () => Object.keys(full).every((key) => view[key] === full[key]);
    const across = (value) => left + ((right - left) * (value - view.x0)) / (view.x1 - view.x0);
    const down = (value) => bottom - ((bottom - top) * (value - view.y0)) / (view.y1 - view.y0);
    const amount = (value, span, unit) => `${number(value, digits(span))}${unit ? NARROW + unit : ""}`;
    const spanX = () => view.x1 - view.x0;
    const spanY = () => view.y1 - view.y0;

    // What a layer says at this x: numbers for the marks, and words with unit and uncertainty.
    const said = ([kind, , rows], x) => {
      const y = (value) => amount(value, spanY(), "");
      const unit = yLabel[1] ? NARROW + yLabel[1] : "";
      if (kind === "upright") return null;
      if (kind === "points") {
        const [px, py, half] = nearest(rows, x);
        if (Math.abs(px - x) > 0.03 * spanX()) return null;
        return { x: px, y: [py], text: `${y(py)} ± ${y(half)}${unit}` };
      }
      if (kind === "dots") {
        const [px, py] = nearest(rows, x);
        return Math.abs(px - x) > 0.03 * spanX() ? null : { x: px, y: [py], text: `${y(py)}${unit}` };
      }
      const found = between(rows, x);
      if (!found) return null;
      const text = kind === "band" ? `${y(found[0])} ${to} ${y(found[1])}` : y(found[0]);
      return { x, y: found, text: `${text}${unit}` };
    };

    const read = (x) => {
      at = x;
      marks?.remove();
      marks = null;
      for (const value of values) value.textContent = "";
      spoken.textContent = "";
      if (x === null) return;
      const all = layers.map((layer) => said(layer, x));
      const point = layers.findIndex(([kind], index) => kind === "points" && all[index]);
      const own = point < 0 ? x : all[point].x;
      const here = `${xLabel[0]} ${amount(own, spanX(), xLabel[1])}`;
      spoken.textContent = here;
      marks = element("g", { class: "read-marks", "aria-hidden": "true" }, svg);
      if (own >= view.x0 && own <= view.x1) {
        element("line", { class: "read-line", x1: across(own), x2: across(own), y1: top, y2: bottom }, marks);
      }
      all.forEach((one, index) => {
        if (!one) return;
        values[index].textContent = one.text;
        for (const y of one.y) {
          if (y >= view.y0 && y <= view.y1 && one.x >= view.x0 && one.x <= view.x1) {
            element("circle", { class: "read-dot", cx: across(one.x), cy: down(y), r: "4" }, marks);
          }
        }
      });
      const told = all.flatMap((one, index) => (one ? [`${names[index]}: ${one.text}`] : []));
      slider.setAttribute("aria-valuetext", [here, ...told].join("; "));
    };

    const ticks = (low, high) => {
      const raw = (high - low) / 5;
      const unit = 10 ** Math.floor(Math.log10(raw));
      const step = unit * [1, 2, 5, 10].find((lead) => raw / unit <= lead * 1.000001);
      const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
      const found = [];
      for (let index = Math.ceil(low / step - 1e-6); index * step <= high + step * 1e-6; index += 1) {
        found.push([index * step, number(index * step, places)]);
      }
      return found;
    };
    const layer = ([kind, look, rows], group) => {
      const points = (all) => all.map(([x, y]) => `${across(x).toFixed(2)},${down(y).toFixed(2)}`).join(" ");
      if (kind === "band") {
        const corners = [...rows.map(([x, , high]) => [x, high]), ...rows.map(([x, low]) => [x, low]).reverse()];
        element("polygon", { class: look, points: points(corners) }, group);
      } else if (kind === "line") {
        element("polyline", { class: look, points: points(rows) }, group);
      } else if (kind === "upright") {
        element("line", { class: look, x1: across(rows[0][0]), x2: across(rows[0][0]), y1: top, y2: bottom }, group);
      } else if (kind === "dots") {
        const stroke = ([x, y]) => `M${across(x).toFixed(2)} ${down(y).toFixed(2)}h0`;
        element("path", { class: look, d: rows.map(stroke).join("") }, group);
      } else {
        for (const [x, y, half] of rows) {
          const [column, high, low] = [across(x), down(y + half), down(y >= 0 ? Math.max(0, y - half) : y - half)];
          element("line", { class: "bar-stem", x1: column, x2: column, y1: high, y2: low }, group);
          element("line", { class: "bar-stem", x1: column - 4, x2: column + 4, y1: high, y2: high }, group);
          element("line", { class: "bar-stem", x1: column - 4, x2: column + 4, y1: low, y2: low }, group);
          element("circle", { class: look, cx: column, cy: down(y), r: 4 }, group);
        }
      }
    };
    const draw = () => {
      close?.remove();
      close = null;
      const all = isWhole();
      svg.classList.toggle("closer", !all);
      drawn.forEach((one) => one.toggleAttribute("display", false));
      [whole.disabled, further.disabled] = [all, all];
      if (!all) {
        drawn.forEach((one) => one.setAttribute("display", "none"));
        close = element("g", { "aria-hidden": "true" }, svg);
        const cut = `plot-cut-${(count += 1)}`;
        const clip = element("clipPath", { id: cut }, close);
        element("rect", { x: left, y: top - 2, width: right - left, height: bottom - top + 4 }, clip);
        for (const [value, label] of ticks(view.y0, view.y1)) {
          element("line", { class: "grid", x1: left, x2: right, y1: down(value), y2: down(value) }, close);
          const text = element("text", { class: "tick", x: left - 8, y: down(value) + 4.5, "text-anchor": "end" }, close);
          text.textContent = label;
        }
        for (const [value, label] of ticks(view.x0, view.x1)) {
          element("line", { class: "axis", x1: across(value), x2: across(value), y1: bottom, y2: bottom + 5 }, close);
          const text = element("text", { class: "tick", x: across(value), y: bottom + 20, "text-anchor": "middle" }, close);
          text.textContent = label;
        }
        element("line", { class: "axis", x1: left, x2: right, y1: bottom, y2: bottom }, close);
        const curves = element("g", { "clip-path": `url(#${cut})` }, close);
        for (const one of layers) layer(one, curves);
      }
      read(at);
    };

    const window_of = (low, high, first, last) => {
      const span = Math.min(high - low, last - first);
      const from = Math.min(Math.max(low, first), last - span);
      return [from, from + span];
    };
    const look = (x0, x1, y0, y1) => {
      [view.x0, view.x1] = window_of(x0, x1, full.x0, full.x1);
      [view.y0, view.y1] = window_of(y0, y1, full.y0, full.y1);
      // A hair short of everything is everything.
      if (spanX() > 0.999 * (full.x1 - full.x0) && spanY() > 0.999 * (full.y1 - full.y0)) view = { ...full };
      draw();
    };
    const zoom = (factor, x, y) => {
      const most = (full.x1 - full.x0) / spanX();
      const by = Math.min(Math.max(factor, 1e-3), CLOSEST / most);
      look(x - (x - view.x0) / by, x + (view.x1 - x) / by, y - (y - view.y0) / by, y + (view.y1 - y) / by);
    };
    const middle = () => [at ?? (view.x0 + view.x1) / 2, (view.y0 + view.y1) / 2];
    const place = (event) => {
      const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      return [view.x0 + ((spot.x - left) / (right - left)) * spanX(), view.y0 + ((bottom - spot.y) / (bottom - top)) * spanY()];
    };
    const inside = (x) => Math.min(Math.max(x, view.x0), view.x1);

    const down_at = new Map();
    let pinch = null;
    svg.addEventListener("pointerdown", (event) => {
      active = true;
      down_at.set(event.pointerId, event);
      if (down_at.size === 2) {
        const [a, b] = [...down_at.values()];
        pinch = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
      }
      if (event.pointerType !== "mouse") read(inside(place(event)[0]));
      else if (!isWhole()) svg.setPointerCapture(event.pointerId);
    });
    svg.addEventListener("pointermove", (event) => {
      const before = down_at.get(event.pointerId);
      if (before) down_at.set(event.pointerId, event);
      if (before && down_at.size === 2) {
        const [a, b] = [...down_at.values()];
        const apart = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
        const mid = place({ clientX: (a.clientX + b.clientX) / 2, clientY: (a.clientY + b.clientY) / 2 });
        if (pinch > 0 && apart > 0) zoom(apart / pinch, ...mid);
        pinch = apart;
      } else if (before && !isWhole()) {
        const [[x, y], [ox, oy]] = [place(event), place(before)];
        look(view.x0 - x + ox, view.x1 - x + ox, view.y0 - y + oy, view.y1 - y + oy);
      } else {
        read(inside(place(event)[0]));
      }
    });
    const lift = (event) => {
      down_at.delete(event.pointerId);
      pinch = null;
    };
    for (const name of ["pointerup", "pointercancel"]) svg.addEventListener(name, lift);
    svg.addEventListener("pointerleave", (event) => {
      if (event.pointerType !== "mouse" || down_at.size > 0) return;
      active = false;
      read(null);
    });
    // The page scrolls past a drawing; the wheel is the drawing's own once it was pressed, or with the key for zooming.
    svg.addEventListener("wheel", (event) => {
      if (!active && !event.ctrlKey) return;
      event.preventDefault();
      zoom(event.deltaY < 0 ? STEP : 1 / STEP, ...place(event));
    }, { passive: false });
    svg.addEventListener("touchmove", (event) => {
      if (event.touches.length > 1) event.preventDefault();
    }, { passive: false });

    closer.addEventListener("click", () => zoom(STEP, ...middle()));
    further.addEventListener("click", () => zoom(1 / STEP, ...middle()));
    whole.addEventListener("click", () => {
      view = { ...full };
      draw();
    });

    // The slider goes along the points, or along the longest curve where there are none.
    const known = (kind) => layers.filter((one) => one[0] === kind).flatMap(([, , rows]) => rows.map((row) => row[0]));
    const longest = layers.map(([, , rows]) => rows.map((row) => row[0])).sort((a, b) => b.length - a.length)[0];
    const every = known("dots").length > 0 ? known("dots") : [...known("points"), ...longest];
    const sorted = [...new Set(every)].sort((a, b) => a - b);
    const thin = Math.ceil(sorted.length / STOPS);
    const stops = sorted.filter((_, index) => index % thin === 0 || index === sorted.length - 1);
    slider.max = String(stops.length - 1);
    slider.value = "0";
    const go = () => {
      const x = stops[Number(slider.value)];
      if (x < view.x0 || x > view.x1) {
        const half = spanX() / 2;
        look(x - half, x + half, view.y0, view.y1);
      }
      read(x);
    };
    slider.addEventListener("input", go);
    slider.addEventListener("focus", go);
    slider.addEventListener("blur", () => read(null));

    let kept = null;
    window.addEventListener("beforeprint", () => {
      if (!chart.isConnected) return;
      kept = [view, at];
      [view, at] = [{ ...full }, null];
      draw();
    });
    window.addEventListener("afterprint", () => {
      if (!kept) return;
      [view, at] = kept;
      kept = null;
      draw();
    });
    tools.hidden = false;
    draw();
  };

  const begun = new WeakSet();
  const all = () => {
    for (const chart of document.querySelectorAll(".chart.readable")) {
      if (begun.has(chart)) continue;
      begun.add(chart);
      start(chart);
    }
  };
  all();
  document.addEventListener("fresh-page", all);
})();
