// Review by keyboard: neighbours are fetched ahead and painted at once, acts are sent one after the other.
import { listen } from "../keys.js";

const stage = document.getElementById("stage");
const said = document.getElementById("said");
const trouble = document.getElementById("trouble");
const fetched = new Map(); // strike -> HTML, or the promise of it
let queue = Promise.resolve();
let turn = 0;

const now = () => document.getElementById("now").dataset;

function address(strike, part = "") {
  const query = new URLSearchParams(stage.dataset.query);
  query.set("strike", strike);
  return `${stage.dataset.source}${part}?${query}`;
}

function fetchStrike(strike) {
  if (!fetched.has(strike)) {
    const coming = fetch(address(strike, "/strike"), { headers: { "HX-Request": "true" } }).then(async (answer) => {
      const html = await answer.text();
      if (!answer.ok) throw new Error(html.length < 500 ? html : "The server refused.");
      fetched.set(strike, html);
      return html;
    });
    coming.catch(() => fetched.delete(strike));
    fetched.set(strike, coming);
  }
  return fetched.get(strike);
}

/** What comes next is fetched while somebody looks at this one; little is kept, so that little grows old. */
function ahead() {
  const { next, previous, waiting, strike } = now();
  const near = [next, previous, waiting].filter(Boolean);
  for (const known of [...fetched.keys()]) if (known !== strike && !near.includes(known)) fetched.delete(known);
  for (const one of near) fetchStrike(one);
}

function paint(html, words, push) {
  const held = stage.contains(document.activeElement) ? document.activeElement.id : "";
  stage.innerHTML = html;
  document.title = now().title + document.title.replace(/^[^,]*, strike \d+/, "");
  if (push) history.pushState(null, "", address(now().strike));
  const back = document.getElementById(held);
  (back && !back.disabled ? back : stage).focus({ preventScroll: true });
  said.textContent = `${words} ${now().words}`.trim();
  ahead();
}

async function show(strike, words = "", push = true) {
  if (!strike) return;
  const mine = ++turn;
  trouble.replaceChildren();
  let html = fetchStrike(strike);
  if (typeof html !== "string") {
    try {
      html = await html;
    } catch (problem) {
      if (mine === turn) complain(problem.message);
      return;
    }
    if (mine !== turn) return; // somebody has moved on meanwhile
  }
  paint(html, words, push);
}

function complain(words) {
  const line = document.createElement("p");
  line.className = "notice";
  line.textContent = words;
  trouble.replaceChildren(line);
}

/** Send an act; the next strike is painted before the answer, and taken back if the answer is no. */
function act(form, action, onto = "") {
  const data = new URLSearchParams(new FormData(form));
  data.set("action", action);
  const strike = data.get("strike");
  if (onto) show(onto);
  // a field of the form is named action, too, and stands before the form's own
  queue = queue.then(async () => {
    const options = { method: "POST", body: data, headers: { Accept: "application/json" } };
    const answer = await fetch(form.getAttribute("action"), options).catch(() => null);
    fetched.delete(strike);
    const told = await answer?.json().catch(() => null);
    if (!answer?.ok || !told) {
      await show(strike, "", Boolean(onto));
      complain(told?.problem ?? told?.error?.message ?? "The server does not answer. What you entered is still here.");
      const dialog = form.closest("dialog");
      if (!dialog) return;
      for (const name of ["strike", "changes"]) form.elements[name].value = now()[name];
      dialog.showModal();
      return;
    }
    if (form.closest("dialog")) form.reset();
    fetched.delete(String(told.changed));
    if (onto) {
      said.textContent = `${told.said} ${now().words}`;
      ahead();
    } else await show(String(told.show), told.said, String(told.show) !== now().strike);
  });
}

if (stage) {
  const strike = new URLSearchParams(location.search).get("strike");
  if (strike !== now().strike) history.replaceState(null, "", address(now().strike));
  stage.focus({ preventScroll: true });
  ahead();

  stage.addEventListener("click", (event) => {
    const link = event.target.closest("a#next, a#previous, a#skip");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    show(now()[{ next: "next", previous: "previous", skip: "waiting" }[link.id]]);
  });
  document.addEventListener("submit", (event) => {
    const form = event.target, dialog = form.closest("dialog");
    if (!stage.contains(form) && !dialog) return;
    event.preventDefault();
    const action = dialog ? form.elements.action.value : event.submitter.value;
    dialog?.close();
    act(form, action, action === "accept" || action === "reject" ? now().next : "");
  });
  window.addEventListener("popstate", () => {
    show(new URLSearchParams(location.search).get("strike"), "", false);
  });

  const press = (id) => () => document.getElementById(id)?.click();
  listen({
    j: press("next"), k: press("previous"), s: press("skip"),
    a: () => { const button = document.getElementById("accept"); if (button?.value === "accept") button.click(); },
    r: press("open-reject"), t: press("open-tags"), n: press("open-note"), u: press("undo"),
  });
}
