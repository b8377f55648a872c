// Numbers as every report writes them; a test holds this equal to quintain.report.rounding.
const NARROW = "\u202f", MINUS = "\u2212";

/** Round half away from zero at a power of ten, on the shortest decimal of the number. */
function at(value, place) {
  const [digits, power = "0"] = String(Math.abs(value)).split("e");
  const scaled = Math.round(Number(`${digits}e${Number(power) - place}`));
  const text = place >= 0 ? String(BigInt(scaled) * 10n ** BigInt(place)) : fixed(scaled, -place);
  const [whole, rest] = text.split(".");
  const parted = whole.replace(/\B(?=(\d{3})+$)/g, NARROW) + (rest ? `.${rest}` : "");
  return (value < 0 && scaled !== 0 ? MINUS : "") + parted;
}

function fixed(scaled, places) {
  const digits = String(BigInt(scaled)).padStart(places + 1, "0");
  return `${digits.slice(0, -places)}.${digits.slice(-places)}`;
}

function power(value) {
  return Number(value.toExponential().split("e")[1]);
}

/** One number with a count of significant digits. */
export function number(value, digits) {
  if (!Number.isFinite(value)) return "?";
  if (value === 0) return "0";
  const place = power(Number(Math.abs(value).toPrecision(digits))) - digits + 1;
  return at(value, place);
}

/** Value and expanded uncertainty as text, rounded by the uncertainty. */
export function rounded(value, expanded) {
  if (!Number.isFinite(value)) return ["?", "?"];
  if (!Number.isFinite(expanded)) {
    const alone = number(value, 3);
    return [alone.includes(".") ? alone.replace(/\.?0+$/, "") : alone, "?"];
  }
  if (expanded === 0) return [number(value, 3), "0"];
  const two = Number(expanded.toPrecision(2)), p = power(two);
  const first = String(two.toExponential())[0];
  const place = first === "1" || first === "2" ? p - 1 : p;
  return [at(value, place), at(expanded, place)];
}

/** A tick: as many decimals as the step between ticks needs. */
export function tick(value, step) {
  const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  return at(Math.abs(value) < step * 1e-6 ? 0 : value, -Math.min(places, 9));
}
