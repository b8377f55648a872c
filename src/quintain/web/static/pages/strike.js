// A strike: keys for neighbours, review and the cursor, and definitions in words on hover and focus.
import { listen } from "../keys.js";

const press = (id) => () => document.getElementById(id)?.click();

/** Move the cursor of the charts by a share of what is shown. */
function step(share) {
  const figure = document.getElementById("curves")?.figure;
  if (!figure) return;
  const [lo, hi] = figure.range, at = figure.at ?? lo + (hi - lo) / 3;
  figure.moveTo(Math.min(Math.max(at + share * (hi - lo), lo), hi));
}

listen({
  j: press("next"),
  k: press("previous"),
  a: press("accept"),
  r: press("open-reject"),
  u: press("undo"),
  ArrowLeft: (event) => step(event.shiftKey ? -0.05 : -0.0025),
  ArrowRight: (event) => step(event.shiftKey ? 0.05 : 0.0025),
});

const place = document.getElementById("definition");
let told = null;

function tell(row) {
  const head = row?.querySelector("th[data-definition]");
  if (!head) return;
  told?.classList.remove("told");
  told = row;
  row.classList.add("told");
  place.textContent = head.dataset.definition;
}

// the browser's own hint comes late and not for keys: the definition stands below the table instead
for (const head of document.querySelectorAll(".qty th[title]")) {
  head.dataset.definition = head.title;
  head.removeAttribute("title");
  head.tabIndex = 0;
  head.setAttribute("aria-describedby", "definition");
}
if (place) {
  for (const kind of ["mouseover", "focusin"]) {
    document.querySelector(".qty")?.addEventListener(kind, (event) => tell(event.target.closest("tr")));
  }
}
