// A session: the selection moves without loading the page anew, and filters work at once.
import { listen } from "../keys.js";

const table = document.getElementById("strikes");
const rows = table ? [...table.tBodies[0].rows] : [];
let asked = 0;

function selected() {
  return rows.findIndex((row) => row.classList.contains("sel"));
}

async function select(row) {
  if (!row) return;
  const id = row.dataset.strike, mine = ++asked, link = row.querySelector("td.num a");
  for (const other of rows) {
    other.classList.toggle("sel", other === row);
    if (other === row) other.setAttribute("aria-current", "true");
    else other.removeAttribute("aria-current");
  }
  for (const shape of document.querySelectorAll("#shapes a")) shape.classList.toggle("sel", shape.dataset.shape === id);
  row.scrollIntoView({ block: "nearest" });
  const to = new URL(link.href), from = new URL(link.href);
  from.pathname += "/peek";
  from.hash = "";
  const answer = await fetch(from, { headers: { "HX-Request": "true" } }).catch(() => null);
  if (mine !== asked) return;
  if (!answer?.ok) { location.href = link.href; return; }
  const place = document.getElementById("peek");
  place.innerHTML = await answer.text();
  htmx.process(place);
  history.replaceState(null, "", to.pathname + to.search);
}

table?.tBodies[0].addEventListener("click", (event) => {
  const row = event.target.closest("tr");
  if (event.target.closest("input, .flags a") || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  select(row);
});
document.getElementById("shapes")?.addEventListener("click", (event) => {
  const shape = event.target.closest("a[data-shape]");
  if (!shape || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  select(rows.find((row) => row.dataset.strike === shape.dataset.shape));
});

const filter = document.getElementById("filter");
filter?.addEventListener("change", (event) => { if (event.target.matches("select")) filter.requestSubmit(); });

const press = (id) => () => document.getElementById(id)?.click();
listen({
  j: () => select(rows[Math.min(selected() + 1, rows.length - 1)]),
  k: () => select(rows[Math.max(selected() - 1, 0)]),
  f: () => select(rows.find((row, i) => i > selected() && row.querySelector(".flag"))),
  a: press("accept"),
  r: press("open-reject"),
  Enter: press("open"),
  "/": () => filter?.querySelector("select")?.focus(),
});
