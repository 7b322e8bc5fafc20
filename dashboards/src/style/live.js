// Keeps #now current from /live. The page is whole without this script; it only saves the reload. Owns how a piece is put
// in: what a person has opened, stands on or presses stays so.
"use strict";
(() => {
  const now = document.getElementById("now");
  const stale = document.getElementById("stale");
  if (!now || !stale || !("EventSource" in window)) return;

  // Pieces of which more is to come, by id.
  const begun = new Map();

  const lines = (data) => {
    const end = data.indexOf("\n");
    return [data.slice(0, end), data.slice(end + 1)];
  };

  const set = (id, html) => {
    const held = document.getElementById(id);
    if (!held) return;
    const open = [...held.querySelectorAll("details[open]")].map((each) => each.id);
    const active = held.contains(document.activeElement) ? document.activeElement : null;
    const summary = active?.closest("summary")?.parentElement.id;
    const form = active?.closest("form");
    const place = form ? [...form.elements].indexOf(active) : -1;
    held.innerHTML = html;
    for (const each of open) document.getElementById(each)?.setAttribute("open", "");
    if (summary) document.getElementById(summary)?.querySelector("summary")?.focus();
    if (form) held.querySelector(`form[action="${form.getAttribute("action")}"]`)?.elements[place]?.focus();
  };

  // Elements that stay are not touched, those that are new are empty until their own piece comes.
  const list = (id, ids) => {
    const holder = document.getElementById(id);
    if (!holder) return;
    const [tag, name] = holder.dataset.child.split(" ");
    const wanted = ids.split(" ").filter((each) => each);
    for (const each of [...holder.children]) if (!wanted.includes(each.id)) each.remove();
    wanted.forEach((each, place) => {
      let found = document.getElementById(each);
      if (!found || found.parentElement !== holder) {
        found = document.createElement(tag);
        found.id = each;
        if (name) found.className = name;
      }
      if (holder.children[place] !== found) holder.insertBefore(found, holder.children[place] ?? null);
    });
  };

  const title = () => {
    const headline = [".over", ".unknown", ".watch", ".calm"]
      .map((tone) => now.querySelector(`${tone} .headline`)).find((found) => found);
    if (headline) document.title = `${headline.textContent} · dwellwatch`;
  };

  const apply = (kind, data) => {
    const [id, text] = lines(data);
    const whole = (begun.get(id) ?? "") + text;
    if (kind === "part") {
      begun.set(id, whole);
      return;
    }
    begun.delete(id);
    if (kind === "list") list(id, whole);
    else set(id, whole);
    if (id === "now-words" || id === "now") title();
  };

  // A button that is replaced while it is pressed is never clicked: what comes meanwhile waits.
  let pressed = false;
  const waiting = [];
  now.addEventListener("pointerdown", (event) => { pressed = event.target.closest("form") !== null; });
  for (const end of ["pointerup", "pointercancel"]) {
    window.addEventListener(end, () => {
      pressed = false;
      // After the click that this may be.
      setTimeout(() => { for (const each of waiting.splice(0)) apply(...each); }, 0);
    });
  }

  const live = new EventSource(`/live?since=${encodeURIComponent(now.dataset.made)}`);
  live.addEventListener("open", () => { stale.hidden = true; begun.clear(); });
  for (const kind of ["set", "part", "list"]) {
    live.addEventListener(kind, (event) => {
      stale.hidden = true;
      if (pressed) waiting.push([kind, event.data]);
      else apply(kind, event.data);
    });
  }
  live.addEventListener("error", () => { stale.hidden = false; });
})();
