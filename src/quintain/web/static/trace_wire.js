// The bytes that quintain/web/trace_wire.py writes.

/** Read a view: {start, step, reduced, low, high}; NaN where nothing was recorded. */
export function decode(buffer) {
  const head = new DataView(buffer);
  const n = head.getInt32(0, true), reduced = head.getInt32(4, true) === 1;
  const low = new Float32Array(buffer, 24, n);
  return {
    start: head.getFloat64(8, true),
    step: head.getFloat64(16, true),
    reduced,
    low,
    high: reduced ? new Float32Array(buffer, 24 + 4 * n, n) : low,
  };
}

/** Points to draw: where each stands for many samples, its least and its greatest value. */
export function points({ start, step, reduced, low, high }) {
  const each = reduced ? 2 : 1, x = new Float64Array(low.length * each), y = new Array(low.length * each);
  for (let i = 0; i < low.length; i++) {
    if (!reduced) {
      x[i] = start + i * step;
      y[i] = Number.isNaN(low[i]) ? null : low[i];
      continue;
    }
    x[2 * i] = start + (i + 0.25) * step;
    x[2 * i + 1] = start + (i + 0.75) * step;
    y[2 * i] = Number.isNaN(low[i]) ? null : low[i];
    y[2 * i + 1] = Number.isNaN(high[i]) ? null : high[i];
  }
  return [x, y];
}
