// A recording: J and K carry the window from strike to strike; a strike is shown half a second around.
import { listen } from "../keys.js";

const AROUND = 0.25; // s before a strike, and three times that after it

const trace = () => document.getElementById("trace")?.figure;

function toStrike(direction) {
  const figure = trace(), events = figure?.spec.charts[0].events ?? [];
  if (!events.length) return;
  const here = figure.range[0] + AROUND, slack = 1e-6;
  const ahead = direction > 0 ? events.find((e) => e.at > here + slack) : events.findLast((e) => e.at < here - slack);
  if (!ahead) return;
  figure.setRange(ahead.at - AROUND, ahead.at + 3 * AROUND);
}

listen({
  j: () => toStrike(1),
  k: () => toStrike(-1),
  "+": () => trace()?.zoom(0.5),
  "=": () => trace()?.zoom(0.5),
  "-": () => trace()?.zoom(2),
  0: () => trace()?.reset(),
  PageUp: () => trace()?.pan(-0.5),
  PageDown: () => trace()?.pan(0.5),
});
