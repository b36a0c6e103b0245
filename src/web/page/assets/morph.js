// Makes one piece of the page like another, touching only what differs: focus, an open list and a
// finger held on a button stay where they are, ten times a second.

// What this screen itself put there.
const OWN = new Set(["open", "data-holding", "data-chosen", "data-pedal", "data-read"]);

export function morph(old, wanted) {
  attributes(old, wanted);
  // what a screen says there is for itself to take away
  if (old.hasAttribute("data-own")) return;
  const keyed = new Map();
  for (const child of old.children) {
    if (child.dataset.key) keyed.set(child.dataset.key, child);
  }
  let at = old.firstChild;
  for (const next of [...wanted.childNodes]) {
    const known = next.dataset && next.dataset.key ? keyed.get(next.dataset.key) : null;
    if (known && known !== at) {
      old.insertBefore(known, at);
      at = known;
    }
    if (at && alike(at, next)) {
      if (at.nodeType === Node.ELEMENT_NODE) morph(at, next);
      else if (at.data !== next.data) at.data = next.data;
      at = at.nextSibling;
    } else {
      old.insertBefore(next, at);
    }
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

function alike(one, other) {
  if (one.nodeType !== other.nodeType || one.nodeName !== other.nodeName) return false;
  if (one.nodeType !== Node.ELEMENT_NODE) return true;
  return (one.dataset.key || "") === (other.dataset.key || "");
}

function attributes(old, wanted) {
  for (const { name, value } of wanted.attributes) {
    if (old.getAttribute(name) !== value) {
      // a button that means something else is another button: a hold that began does not count
      if (name === "data-act") old.removeAttribute("data-holding");
      old.setAttribute(name, value);
    }
  }
  for (const { name } of [...old.attributes]) {
    if (!wanted.hasAttribute(name) && !OWN.has(name)) old.removeAttribute(name);
  }
}
