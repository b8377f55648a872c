// Charts in our look on uPlot: raw behind corrected, the 95 % band, events, one cursor, zoom by mouse, touch, keys.
//   <figure class="live" data-chart="/path.json">   one or several aligned charts
//   <figure class="live" data-trace="/path" ...>    a recording of any length, asked for window by window
// import { draw, mount, Figure } from "./charts.js" for a page that has its data already.
import { number, rounded, tick } from "./numbers.js";
import { decode, points } from "./trace_wire.js";

const { uPlot } = globalThis;
const SPACED = 4; // px between samples from which each is shown
const MARKS = ["s1", "s2", "s3", "s4", "s5"];
const TOKENS = ["paper", "hair", "edge", "ink", "ink-2", "ink-3", "raw", "accent", "accent-pale", "band", "wash", "stop", ...MARKS];
const STEPS = []; // between ticks: 1, 2 or 5 times a power of ten
for (let e = -9; e <= 9; e++) for (const m of [1, 2, 5]) STEPS.push(Number(`${m}e${e}`));
let token = {};

function readTokens() {
  const style = getComputedStyle(document.documentElement);
  token = Object.fromEntries(TOKENS.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
  token.font = `12px ${style.getPropertyValue("--sans")}`;
}

function make(tag, props = {}, ...children) {
  const element = Object.assign(document.createElement(tag), props);
  element.append(...children);
  return element;
}

/** Text with a halo of paper, so that lines may pass behind it. */
function write(u, text, x, y, { color = token.ink, align = "left", bold = false } = {}) {
  const { ctx } = u, r = devicePixelRatio;
  ctx.save();
  ctx.font = `${bold ? 600 : 400} ${12 * r}px ${token.font.slice(5)}`;
  ctx.textAlign = align;
  ctx.textBaseline = "top";
  ctx.lineJoin = "round";
  ctx.lineWidth = 4 * r;
  ctx.strokeStyle = token.paper;
  ctx.strokeText(text, x, y);
  ctx.fillStyle = color;
  ctx.fillText(text, x, y);
  const wide = ctx.measureText(text).width;
  ctx.restore();
  return wide;
}

function line(u, x0, y0, x1, y1, color, dash = []) {
  const { ctx } = u, r = devicePixelRatio;
  ctx.save();
  ctx.strokeStyle = color;
  ctx.lineWidth = r;
  ctx.setLineDash(dash.map((d) => d * r));
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  ctx.stroke();
  ctx.restore();
}

/** Circle, square, triangle, diamond, cross: the shapes of the series' colours. */
const SHAPES = [
  "M0-4.5A4.5 4.5 0 1 1-.01-4.5Z", "M-4-4H4V4H-4Z", "M0-5 5 4H-5Z", "M0-5.5 5.5 0 0 5.5-5.5 0Z", "M-4-4 4 4M4-4-4 4",
].map((path) => new Path2D(path));

function shape(u, mark, x, y, color) {
  const { ctx } = u, r = devicePixelRatio, path = SHAPES[mark - 1];
  ctx.save();
  ctx.translate(x, y);
  ctx.scale(r, r);
  ctx.lineWidth = 3;
  ctx.strokeStyle = token.paper;
  ctx.stroke(path);
  ctx.lineWidth = 1.6;
  ctx.fillStyle = ctx.strokeStyle = color;
  if (mark === 5) ctx.stroke(path);
  else ctx.fill(path);
  ctx.restore();
}

const crisp = (v) => Math.round(v) + 0.5;

function styleOf(series) {
  const own = series.mark ? () => token[`s${series.mark}`] : null;
  if (series.kind === "raw") return { color: own ?? (() => token.raw), width: 1 };
  if (series.kind === "quiet") return { color: own ?? (() => token.edge), width: 1 };
  if (series.kind === "ink") return { color: own ?? (() => token.ink), width: 1.25 };
  return { color: own ?? (() => token.accent), width: 1.5 };
}

const LINE = uPlot.paths.linear();

/**
 * Where a point stands for many samples: all between the least and the greatest of every pixel, one outline
 * around them, each touching the one before it. It looks like the line up and down through all samples, and
 * is painted ten times faster.
 */
function envelope(u, { x, y }, color) {
  const { left, top, width, height } = u.bbox, { x: time, y: level } = u.scales, path = new Path2D();
  const across = width / (time.max - time.min), down = height / (level.max - level.min);
  const step = x.length > 2 ? x[2] - x[0] : 2 * (x[1] - x[0]), thick = devicePixelRatio;
  let low = null, high = null, under = [];
  const close = () => {
    for (const corner of under.reverse()) path.lineTo(...corner);
    path.closePath();
    under = [];
  };
  for (let i = 0; i < x.length; i += 2) {
    if (y[i] == null) {
      if (under.length) close();
      low = high = null;
      continue;
    }
    const from = Math.round(left + (x[i] - step / 4 - time.min) * across);
    const to = Math.max(Math.round(left + (x[i] + (3 * step) / 4 - time.min) * across), from + thick);
    const least = Math.min(y[i], high ?? y[i]), most = Math.max(y[i + 1], low ?? y[i + 1]);
    [low, high] = [y[i], y[i + 1]];
    if (to < left || from > left + width) continue;
    const over = Math.round(top + (level.max - most) * down - thick / 2);
    const below = Math.max(Math.round(top + (level.max - least) * down + thick / 2), over + thick);
    if (under.length) path.lineTo(from, over);
    else path.moveTo(from, over);
    path.lineTo(to, over);
    under.push([from, below], [to, below]);
  }
  if (under.length) close();
  return { stroke: null, fill: path, _fill: color };
}

/** What of the series a plot was built for; others need another plot. */
function kindsOf(series) {
  return series.map((s) => `${s.kind}${s.mark ?? ""}${s.low ? "±" : ""}`).join();
}

/** Place of x in an ascending array: the last index not beyond it. */
function before(xs, x) {
  let a = 0, b = xs.length - 1;
  while (a < b) {
    const m = (a + b + 1) >> 1;
    if (xs[m] <= x) a = m;
    else b = m - 1;
  }
  return a;
}

function valueAt(series, x, key = "y") {
  const xs = series.x, ys = series[key];
  if (!xs.length || x < xs[0] || x > xs[xs.length - 1]) return null;
  const i = before(xs, x), j = Math.min(i + 1, xs.length - 1);
  if (series.kind === "raw" || i === j || ys[i] == null || ys[j] == null) {
    return xs[j] - x < x - xs[i] ? ys[j] : ys[i];
  }
  return ys[i] + ((ys[j] - ys[i]) * (x - xs[i])) / (xs[j] - xs[i]);
}

/**
 * Aligned charts that share one x axis and one cursor.
 *
 * spec: {x: {label, unit}, charts: [{title, of, unit, size: "tall" | "low" | "", zero, series, events, limits}]}
 *   series: {kind: "raw" | "corrected" | "quiet" | "ink" | "points", mark: 1..5, label, x, y, low, high}
 *   events: {at, label, note, href}; limits: {at, label}
 *   areas: {series, from, to, label}: pale between a curve and zero
 *   badge of a series with a mark: a word beside the mark's shape, drawn at the curve's highest point
 * range: [lo, hi] to show first
 * options: range [lo, hi]; bounds [lo, hi]; onRange(lo, hi) when the window changes
 */
export class Figure {
  constructor(root, spec, { range = null, bounds = null, onRange = null } = {}) {
    Object.assign(this, { root, spec, onRange, plots: [], at: null });
    this.bounds = bounds ?? this.extent();
    this.range = range ?? [...this.bounds];
    this.readout = make("div", { className: "readout" });
    this.values = make("span", { className: "values" });
    const zoom = make("span", { className: "zoom end" });
    for (const [text, words, run] of [
      ["‹", "earlier", () => this.pan(-0.5)],
      ["›", "later", () => this.pan(0.5)],
      ["−", "zoom out", () => this.zoom(2)],
      ["+", "zoom in", () => this.zoom(0.5)],
      ["All", "show all", () => this.reset()],
    ]) {
      const button = make("button", { type: "button", className: "btn", textContent: text, onclick: run });
      button.setAttribute("aria-label", words);
      zoom.append(button);
    }
    this.readout.append(this.values, zoom);
    root.append(this.readout);
    this.parts = [this.readout];
    spec.charts.forEach((chart, i) => this.add(chart, i === spec.charts.length - 1));
    root.dataset.drawn = "";
    this.sizes = new ResizeObserver(() => this.resize());
    this.sizes.observe(root);
    this.say(null);
    figures.add(this);
  }

  extent() {
    let lo = Infinity, hi = -Infinity;
    for (const { series } of this.spec.charts) {
      for (const { x } of series) {
        if (!x.length) continue;
        lo = Math.min(lo, x[0]);
        hi = Math.max(hi, x[x.length - 1]);
      }
    }
    return lo < hi ? [lo, hi] : [0, 1];
  }

  add(chart, last) {
    const title = make("h3", {}, make("b", { textContent: chart.title }), chart.of ? ` ${chart.of}` : "", chart.unit ? `, ${chart.unit}` : "");
    const stage = make("div", { className: `stage ${chart.size ?? ""}`, tabIndex: 0 });
    stage.setAttribute("role", "group");
    stage.setAttribute("aria-label", `${chart.title}${chart.unit ? `, ${chart.unit}` : ""}, against ${this.spec.x.label}. Arrow keys move the cursor, plus and minus zoom.`);
    this.root.append(title, stage);
    this.parts.push(title, stage);
    const entry = { plot: null, stage, chart, last, kinds: "" };
    this.plots.push(entry);
    this.build(entry);
    this.listenKeys(entry);
  }

  build(entry) {
    const { chart, stage, last } = entry;
    entry.plot?.destroy();
    entry.kinds = kindsOf(chart.series);
    entry.plot = new uPlot(this.options(chart, stage, last), this.table(chart), stage);
    entry.plot.root.setAttribute("aria-hidden", "true");
    this.listenPointer(stage, entry.plot);
  }

  table(chart) {
    const bands = chart.series.filter((s) => s.low).map((s) => [s.x, s.low, s.high]);
    const tables = [...bands, ...chart.series.map((s) => [s.x, s.y])];
    return tables.length === 1 ? tables[0] : tables.length ? uPlot.join(tables) : [[]];
  }

  options(chart, stage, last) {
    const series = [{}], bands = [];
    for (const s of chart.series) { // what comes first lies behind
      if (!s.low) continue;
      const fill = s.mark ? () => `${styleOf(s).color()}2e` : () => token.band;
      bands.push({ series: [series.length + 1, series.length], fill });
      const edge = { width: 0, pxAlign: 0, points: { show: false } };
      series.push({ ...edge }, { ...edge });
    }
    for (const [i, s] of chart.series.entries()) {
      const { color, width } = styleOf(s), dots = s.kind === "points";
      series.push({
        stroke: color,
        pxAlign: 0,
        width: dots ? 0 : width,
        paths: dots ? () => null : (u, ...place) => (chart.series[i]?.reduced ? envelope(u, chart.series[i], color()) : LINE(u, ...place)),
        points: {
          show: (u) => dots || (s.kind === "raw" && this.spaced(chart.series[i], u)),
          size: dots ? 7 : 3.5,
          width: 0,
          fill: color,
          stroke: color,
        },
      });
    }
    const r = () => devicePixelRatio;
    const texts = { stroke: () => token["ink-3"], font: token.font, labelGap: 0, incrs: STEPS };
    return {
      width: stage.clientWidth || 600,
      height: stage.clientHeight || 220,
      legend: { show: false },
      padding: [chart.events?.some((e) => e.label) ? 36 : 12, 32, last ? 0 : 6, 0],
      scales: {
        x: { time: false, range: () => this.range },
        y: { range: (u, lo, hi) => this.heights(chart, lo, hi) },
      },
      axes: [
        {
          ...texts, show: last, size: 28, gap: 4, space: 64, grid: { show: false },
          ticks: { stroke: () => token.edge, width: 1, size: 4 },
          values: (u, all, axis, space, step) => all.map((v) => tick(v, step)),
        },
        {
          ...texts, size: 56, gap: 8, space: (u, axis, lo, hi, height) => Math.max(26, height / 6), ticks: { show: false },
          grid: { stroke: () => token.hair, width: 1 },
          values: (u, all, axis, space, step) => all.map((v) => tick(v, step)),
        },
      ],
      series,
      bands,
      cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false } },
      hooks: {
        drawAxes: [(u) => {
          this.shade(u, chart);
          const { left, top, width, height } = u.bbox, zero = u.valToPos(0, "y", true);
          if (zero > top && zero <= top + height) line(u, left, crisp(zero), left + width, crisp(zero), token.edge);
          if (!last) return;
          line(u, left, crisp(top + height), left + width, crisp(top + height), token.edge);
          write(u, this.spec.x.unit, left + width + 30 * r(), top + height + 8 * r(), { color: token["ink-3"], align: "right" });
        }],
        draw: [(u) => this.annotate(u, chart)],
        setCursor: [(u) => this.follow(u)],
        setSelect: [(u) => {
          if (u.select.width < 4) return;
          const { left, width } = u.select;
          u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          this.setRange(u.posToVal(left, "x"), u.posToVal(left + width, "x"));
        }],
      },
    };
  }

  spaced(series, u) {
    const a = before(series.x, this.range[0]), b = before(series.x, this.range[1]);
    return !series.reduced && u.bbox.width / devicePixelRatio / Math.max(1, b - a) >= SPACED;
  }

  heights(chart, lo, hi) {
    if (lo == null || hi == null) return [0, 1];
    if (chart.zero !== false) [lo, hi] = [Math.min(lo, 0), Math.max(hi, 0)];
    for (const limit of chart.limits ?? []) [lo, hi] = [Math.min(lo, limit.at), Math.max(hi, limit.at)];
    const pad = (hi - lo || Math.abs(hi) || 1) * 0.06;
    return [lo === 0 ? lo - pad / 2 : lo - pad, hi + pad];
  }

  /** Pale between a curve and zero, such as the window of an impulse; its name below the line of zero. */
  shade(u, chart) {
    const { ctx } = u, { left, top, width, height } = u.bbox;
    for (const area of chart.areas ?? []) {
      const s = chart.series[area.series], from = before(s.x, area.from), to = before(s.x, area.to);
      if (to <= from) continue;
      const zero = u.valToPos(0, "y", true), x = (v) => u.valToPos(v, "x", true);
      ctx.save();
      ctx.beginPath();
      ctx.rect(left, top, width, height);
      ctx.clip();
      ctx.beginPath();
      ctx.moveTo(x(s.x[from]), zero);
      for (let i = from; i <= to; i++) if (s.y[i] != null) ctx.lineTo(x(s.x[i]), u.valToPos(s.y[i], "y", true));
      ctx.lineTo(x(s.x[to]), zero);
      ctx.fillStyle = token["accent-pale"];
      ctx.fill();
      ctx.restore();
    }
  }

  /** Names of areas at the line of zero where they begin, below it if there is room. */
  nameAreas(u, chart) {
    const { left, top, width, height } = u.bbox, r = devicePixelRatio, zero = u.valToPos(0, "y", true);
    const y = zero + 20 * r > top + height ? zero - 17 * r : zero + 5 * r;
    for (const area of chart.areas ?? []) {
      const x = u.valToPos(area.from, "x", true);
      if (!area.label || x < left - 1 || x > left + width) continue;
      write(u, area.label, x + 5 * r, y, { color: token.accent });
    }
  }

  /** The shape of a marked series at its highest point in the window, with a word beside it where there is room. */
  badge(u, s, color, taken) {
    const r = devicePixelRatio, [lo, hi] = this.range;
    let at = -1;
    for (let i = 0; i < s.x.length; i++) {
      if (s.x[i] >= lo && s.x[i] <= hi && s.y[i] != null && (at < 0 || s.y[i] > s.y[at])) at = i;
    }
    if (at < 0) return;
    const x = u.valToPos(s.x[at], "x", true), y = u.valToPos(s.y[at], "y", true);
    shape(u, s.mark, x, y, color);
    for (const [dx, dy] of [[8, -16], [8, 2], [-16, -16], [-16, 2], [24, -16], [24, 2], [-32, -16], [-32, 2]]) {
      const at = [x + dx * r, y + dy * r];
      if (taken.some(([a, b]) => Math.abs(a - at[0]) < 15 * r && Math.abs(b - at[1]) < 13 * r)) continue;
      taken.push(at);
      write(u, s.badge, ...at, { color, bold: true });
      return;
    }
  }

  annotate(u, chart) {
    this.nameAreas(u, chart);
    const { left, top, width, height } = u.bbox, r = devicePixelRatio;
    for (const limit of chart.limits ?? []) {
      const y = crisp(u.valToPos(limit.at, "y", true));
      line(u, left, y, left + width, y, token.edge, [6, 4]);
      if (limit.label) write(u, limit.label, left + width, y - 15 * r, { color: token["ink-3"], align: "right" });
    }
    let free = -Infinity;
    for (const event of chart.events ?? []) {
      const x = crisp(u.valToPos(event.at, "x", true));
      if (x < left || x > left + width) continue;
      line(u, x, event.label ? top - 34 * r : top, x, top + height, token["ink-2"]);
      if (!event.label || x + 5 * r < free) continue;
      const first = write(u, event.label, x + 5 * r, top - 34 * r, { bold: true });
      const second = event.note ? write(u, event.note, x + 5 * r, top - 18 * r, { color: token["ink-2"] }) : 0;
      free = x + 13 * r + Math.max(first, second);
    }
    const taken = [];
    for (const s of chart.series) if (s.badge && s.mark) this.badge(u, s, styleOf(s).color(), taken);
    if (chart.series.length < 2) return;
    let below = 0;
    for (const s of chart.series) {
      if (!s.label) continue;
      const { color } = styleOf(s), raw = s.kind === "raw";
      const y = top + (4 + 16 * below++) * r;
      const wide = write(u, s.label, left + width, y, { color: raw ? token["ink-3"] : color(), align: "right" });
      if (s.mark) shape(u, s.mark, left + width - wide - 9 * r, y + 6 * r, color());
    }
  }

  /** Show the cursor of one chart in all, and say what it reads. */
  follow(u) {
    if (this.moving) return;
    const { left } = u.cursor;
    this.moveTo(left == null || left < 0 ? null : u.posToVal(left, "x"), u);
  }

  /** Put the cursor at x, or take it away with null. */
  moveTo(x, by = null) {
    this.at = x;
    this.moving = true;
    for (const { plot } of this.plots) {
      if (plot !== by) plot.setCursor({ left: x == null ? -10 : plot.valToPos(x, "x"), top: x == null ? -10 : 10 });
    }
    this.moving = false;
    this.say(x);
  }

  say(x) {
    const { unit } = this.spec.x, bold = (text) => make("b", { textContent: text });
    const words = [];
    const span = this.range[1] - this.range[0];
    const when = (v) => tick(v, 10 ** Math.floor(Math.log10(span / 1000)));
    if (x == null) {
      words.push(make("span", {}, `${this.spec.x.label} `, bold(`${when(this.range[0])} to ${when(this.range[1])} ${unit}`)));
    } else {
      words.push(make("span", {}, "at ", bold(`${when(x)} ${unit}`)));
      for (const chart of this.spec.charts) {
        for (const s of chart.series) {
          const y = valueAt(s, x), name = chart.series.length > 1 ? s.kind : chart.title.toLowerCase();
          if (y == null) continue;
          const half = s.low ? (valueAt(s, x, "high") - valueAt(s, x, "low")) / 2 : null;
          const text = half ? rounded(y, half).join(" ± ") : number(y, Math.abs(y) >= 1000 ? 4 : 3);
          words.push(make("span", {}, `${name} `, bold(`${text} ${chart.unit ?? ""}`)));
        }
      }
    }
    this.values.replaceChildren(...words);
  }

  setRange(lo, hi) {
    const [least, most] = this.bounds, all = most - least;
    const wide = Math.min(Math.max(hi - lo, all * 1e-9), all);
    const from = Math.min(Math.max(lo, least), most - wide);
    this.range = [from, from + wide];
    for (const { plot } of this.plots) plot.setScale("x", { min: from, max: from + wide });
    this.say(this.at);
    this.onRange?.(...this.range);
  }

  zoom(factor, about = this.at) {
    const [lo, hi] = this.range, x = about != null && about >= lo && about <= hi ? about : (lo + hi) / 2;
    this.setRange(x - (x - lo) * factor, x + (hi - x) * factor);
  }

  pan(share) {
    const [lo, hi] = this.range, by = (hi - lo) * share;
    this.setRange(lo + by, hi + by);
  }

  reset() {
    this.setRange(...this.bounds);
  }

  listenKeys(entry) {
    const step = (n) => {
      const px = (this.range[1] - this.range[0]) / (entry.plot.bbox.width / devicePixelRatio);
      const x = (this.at ?? (this.range[0] + this.range[1]) / 2) + n * px;
      const held = Math.min(Math.max(x, this.bounds[0]), this.bounds[1]);
      if (held < this.range[0] || held > this.range[1]) this.pan(Math.sign(n) * 0.5);
      this.readout.setAttribute("aria-live", "polite");
      this.moveTo(held);
    };
    const keys = {
      ArrowLeft: (e) => step(e.shiftKey ? -20 : -1),
      ArrowRight: (e) => step(e.shiftKey ? 20 : 1),
      Home: () => this.moveTo(this.range[0]),
      End: () => this.moveTo(this.range[1]),
      PageUp: () => this.pan(-0.5),
      PageDown: () => this.pan(0.5),
      "+": () => this.zoom(0.5),
      "=": () => this.zoom(0.5),
      "-": () => this.zoom(2),
      0: () => this.reset(),
      Escape: () => this.moveTo(null),
    };
    entry.stage.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !keys[event.key]) return;
      event.preventDefault();
      keys[event.key](event);
    });
  }

  listenPointer(stage, plot) {
    const { over } = plot;
    over.addEventListener("dblclick", (event) => {
      event.stopImmediatePropagation();
      this.reset();
    }, true);
    // a plain wheel scrolls the page, unless the chart has been chosen
    over.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== stage) return;
      event.preventDefault();
      if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) this.pan(event.deltaX / 500);
      else this.zoom(1.2 ** Math.sign(event.deltaY), plot.posToVal(event.offsetX, "x"));
    }, { passive: false });
    over.addEventListener("mousedown", (event) => {
      stage.focus({ preventScroll: true });
      if (!event.shiftKey) return;
      event.stopImmediatePropagation();
      const from = event.clientX, [lo, hi] = this.range, wide = over.clientWidth;
      const move = (e) => this.setRange(...[lo, hi].map((v) => v - ((e.clientX - from) / wide) * (hi - lo)));
      const up = () => {
        removeEventListener("mousemove", move);
        removeEventListener("mouseup", up);
      };
      addEventListener("mousemove", move);
      addEventListener("mouseup", up);
    }, true);
    over.addEventListener("click", (event) => {
      const near = (e) => e.href && Math.abs(plot.valToPos(e.at, "x") - event.offsetX) < 6;
      const chart = this.plots.find((p) => p.plot === plot).chart, hit = (chart.events ?? []).find(near);
      if (hit) location.href = hit.href;
    });
    this.touch(over, plot);
  }

  /** One finger moves the window, two stretch it. */
  touch(over, plot) {
    let held = null;
    const places = (event) => [...event.touches].map((t) => t.clientX - over.getBoundingClientRect().left);
    const grip = (event) => {
      held = event.touches.length ? { at: places(event).map((p) => plot.posToVal(p, "x")) } : null;
    };
    over.addEventListener("touchstart", grip, { passive: true });
    over.addEventListener("touchend", grip, { passive: true });
    over.addEventListener("touchmove", (event) => {
      if (!held || held.at.length !== event.touches.length) return;
      const now = places(event), wide = over.clientWidth;
      if (now.length === 1) {
        const lo = held.at[0] - (now[0] / wide) * (this.range[1] - this.range[0]);
        this.setRange(lo, lo + this.range[1] - this.range[0]);
        this.moveTo(held.at[0]);
      } else if (now.length === 2 && Math.abs(now[1] - now[0]) > 8) {
        const per = (held.at[1] - held.at[0]) / (now[1] - now[0]), lo = held.at[0] - now[0] * per;
        if (per > 0) this.setRange(lo, lo + per * wide);
      }
    }, { passive: true });
  }

  /** Show other series in a chart, in the window as it is. */
  setSeries(series, i = 0) {
    const entry = this.plots[i];
    entry.chart.series = series;
    if (kindsOf(series) !== entry.kinds) this.build(entry);
    else entry.plot.setData(this.table(entry.chart));
    this.say(this.at);
  }

  setEvents(events) {
    for (const { chart, plot } of this.plots) {
      chart.events = events;
      plot.redraw(false);
    }
  }

  resize() {
    for (const { plot, stage } of this.plots) {
      const size = { width: stage.clientWidth, height: stage.clientHeight };
      if (size.width && (size.width !== plot.width || size.height !== plot.height)) plot.setSize(size);
    }
  }

  repaint() {
    for (const { plot } of this.plots) plot.redraw(true, true);
  }

  destroy() {
    this.sizes.disconnect();
    for (const { plot } of this.plots) plot.destroy();
    for (const part of this.parts) part.remove();
    delete this.root.dataset.drawn;
    figures.delete(this);
  }
}

const figures = new Set();

function repaintAll() {
  readTokens();
  for (const figure of figures) figure.root.isConnected ? figure.repaint() : figure.destroy();
}

async function ask(path, signal) {
  const answer = await fetch(path, { signal });
  if (!answer.ok) throw new Error(`${answer.status}`);
  return answer;
}

function refuse(root) {
  if (!root.querySelector(".refused")) {
    root.prepend(make("p", { className: "refused", textContent: "The chart could not be loaded; load the page again." }));
  }
}

/** Draw a specification into a figure. */
export function draw(root, spec, options) {
  return new Figure(root, spec, options);
}

async function mountChart(root) {
  const spec = await (await ask(root.dataset.chart)).json();
  return draw(root, spec, { range: spec.range });
}

async function mountTrace(root) {
  const { trace, label, unit, events, overlay } = root.dataset;
  const bounds = [Number(root.dataset.start), Number(root.dataset.end)];
  const chart = { title: label, unit, series: [{ kind: "raw", x: [], y: [] }], events: [] };
  let waiting = null, corrected = [];
  if (events) chart.events = await (await ask(events)).json();
  const figure = draw(root, { x: { label: "time", unit: "s" }, charts: [chart] }, { bounds, onRange: load });
  const path = (source, window_) => `${source}${source.includes("?") ? "&" : "?"}${window_}`;

  // The samples are drawn when they are there; curves over them follow, and until then stay where they are.
  async function load(lo, hi) {
    waiting?.abort();
    waiting = new AbortController();
    const { signal } = waiting, began = performance.now();
    const pixels = Math.max(1, Math.min(8192, Math.round(figure.plots[0].plot.bbox.width)));
    const window_ = `start=${lo}&end=${hi}&pixels=${pixels}`;
    try {
      const struck = (chart.events ?? []).some((e) => e.at > lo - 1 && e.at < hi);
      const later = overlay && struck ? ask(path(overlay, window_), signal).then((a) => a.json()) : null;
      later?.catch(() => {}); // told below, unless the samples fail first
      const seen = decode(await (await ask(path(trace, window_), signal)).arrayBuffer()), [x, y] = points(seen);
      const raw = { kind: "raw", x, y, reduced: seen.reduced };
      figure.setSeries([raw, ...corrected]);
      const before = corrected.length;
      corrected = (await later)?.series ?? [];
      if (before || corrected.length) figure.setSeries([raw, ...corrected]);
      root.dataset.views = Number(root.dataset.views ?? 0) + 1;
      root.dataset.roundTrip = (performance.now() - began).toFixed(1);
      root.dispatchEvent(new CustomEvent("quintain:view", { bubbles: true, detail: { lo, hi } }));
    } catch (problem) {
      if (problem.name !== "AbortError") refuse(root);
    }
  }
  await load(...bounds);
  return figure;
}

/** Draw every figure in a part of the page that is not drawn yet; {root: Figure}. */
export async function mount(scope = document) {
  for (const root of scope.querySelectorAll("[data-chart], [data-trace]")) {
    if (root.dataset.mounted !== undefined) continue;
    root.dataset.mounted = "";
    try {
      root.figure = await ("chart" in root.dataset ? mountChart(root) : mountTrace(root));
    } catch {
      refuse(root);
    }
  }
}

readTokens();
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", repaintAll);
new MutationObserver(repaintAll).observe(document.documentElement, { attributes: true, attributeFilter: ["class"] });
document.addEventListener("htmx:afterSettle", (event) => mount(event.target));
mount();
