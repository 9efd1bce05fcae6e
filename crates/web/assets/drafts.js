// What was typed into a form and not sent, or sent into a lost connection, is offered again. It is kept in this browser alone,
// for the person at the bench, for a week at most, and forgotten once the record has it. Passwords are never kept.
(() => {
  "use strict";
  const person = document.body.dataset.person;
  if (!person) return;
  let box;
  try {
    box = window.localStorage;
    box.getItem("borewise");
  } catch {
    return;
  }
  const WEEK_MS = 7 * 24 * 3600 * 1000;
  // Forms of one page that go to one address are told apart by a word of their own.
  const place = (form) => `borewise draft ${person} ${new URL(form.action).pathname}${form.dataset.form ?? ""}`;
  const fields = (form) =>
    [...form.elements].filter((field) => field.name && /^(text|textarea|select-one|search)$/.test(field.type));
  const values = (form) => Object.fromEntries(fields(form).map((field) => [field.name, field.value]));

  const keep = (form, sent) => {
    const draft = { at: Date.now(), key: form.elements.key.value, sent, values: values(form) };
    try {
      box.setItem(place(form), JSON.stringify(draft));
    } catch {
      // The browser's box is full: the form works on without a draft.
    }
  };
  const known = (form) => {
    try {
      const draft = JSON.parse(box.getItem(place(form)));
      if (draft && Date.now() - draft.at < WEEK_MS) return draft;
    } catch {
      // Unreadable: as good as none.
    }
    box.removeItem(place(form));
    return null;
  };

  const offer = (form, draft) => {
    let changed = false;
    for (const field of fields(form)) {
      const typed = draft.values[field.name];
      if (typed !== undefined && typed !== field.value) {
        field.value = typed;
        changed = true;
      }
    }
    if (!changed) return;
    // Sent once and perhaps arrived: with the same key it counts once.
    if (draft.sent) form.elements.key.value = draft.key;
    form.closest("details")?.setAttribute("open", "");
    const note = document.createElement("p");
    note.className = "draft";
    note.setAttribute("role", "status");
    // The words stand in the page, in the language of its reader.
    note.textContent = `${document.body.dataset.sayBack} `;
    const away = document.createElement("button");
    away.type = "button";
    away.className = "quiet-button";
    away.textContent = document.body.dataset.sayAway;
    away.addEventListener("click", () => {
      box.removeItem(place(form));
      form.reset();
      note.remove();
    });
    note.append(away);
    form.prepend(note);
  };

  const arrived = async (draft) => {
    try {
      return (await fetch(`/kept/${draft.key}`)).status === 204;
    } catch {
      return false;
    }
  };

  const watched = new WeakSet();
  const watch = () => {
    for (const form of document.querySelectorAll("form.entry[method=post]")) {
      if (!form.elements.key || form.querySelector("[type=password]") || watched.has(form)) continue;
      watched.add(form);
      form.addEventListener("input", () => keep(form, false));
      form.addEventListener("submit", () => keep(form, true));
      const draft = known(form);
      if (!draft) continue;
      // The server has answered with what was typed: that is newer than any draft.
      if (form.querySelector(".problems, .question") || "answer" in form.dataset) {
        keep(form, false);
      } else if (!draft.sent) {
        offer(form, draft);
      } else {
        arrived(draft).then((there) => (there ? box.removeItem(place(form)) : offer(form, draft)));
      }
    }
  };
  watch();
  // Another script brought in the page anew.
  document.addEventListener("fresh-page", watch);
})();
