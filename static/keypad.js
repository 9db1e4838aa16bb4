// A decimal keypad for every field marked `data-keypad`. Some telephones have no minus on theirs, so each such field
// gets a key that turns the sign. Without script the field stays plain text, with the whole keyboard.

const MINUS = /^\s*[-\u2212]/;

function turnSign(field) {
  field.value = MINUS.test(field.value) ? field.value.replace(MINUS, "") : `-${field.value.trim()}`;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.focus();
}

function signKey(field) {
  const key = document.createElement("button");
  key.type = "button";
  key.className = "do-less";
  key.textContent = "+/\u2212";
  key.setAttribute("aria-label", "Turn the sign");
  key.addEventListener("click", () => turnSign(field));
  return key;
}

export function fitKeypads(root) {
  for (const field of root.querySelectorAll("input[data-keypad]")) {
    field.inputMode = "decimal";
    const holder = field.closest(".reading");
    if (holder) holder.append(signKey(field));
  }
}
