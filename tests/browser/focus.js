// Is the focus where it is wanted, and is it to be seen? A key's frame is drawn on its words.
const at = document.activeElement, drawn = at.matches('label.key > input') ? at.nextElementSibling : at;
const style = getComputedStyle(drawn), box = drawn.getBoundingClientRect();
const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
const on_screen = box.bottom > 0 && box.top < innerHeight && box.width > 0;
// What stays at the screen's lower edge must not lie over it.
const lower = document.querySelector('.stick'), over = lower && !lower.contains(at) ? lower.getBoundingClientRect() : null;
const covered = over && getComputedStyle(lower).position === 'sticky' && box.top > over.top && box.bottom < over.bottom;
const plain = at === document.body || at === document.documentElement;
return {there: at.matches('WANTED'), hidden: plain || (ring && on_screen && !covered) ? '' : `${at.outerHTML.slice(0, 120)} ${style.outline} ${box.top}${covered ? ' covered' : ''}`};
