// What can be measured of how a page looks. Answers with sentences; none means: nothing to mend.
const problems = [], width = document.documentElement.clientWidth, crew = document.body.classList.contains('crew');
const say = (what, element) => problems.push(`${what}: <${element.tagName.toLowerCase()} class="${element.className.baseVal ?? element.className}"> ${(element.textContent || element.name || '').trim().replace(/\s+/g, ' ').slice(0, 50)}`);
const shown = e => e.checkVisibility({visibilityProperty: true}) && e.getClientRects().length > 0;
const scrolls = e => e.closest('.scroll, .skip, .sr');

if (document.documentElement.scrollWidth > width) {
  problems.push(`the page is ${document.documentElement.scrollWidth} px wide on a screen of ${width}`);
  for (const e of document.body.querySelectorAll('*'))
    if (shown(e) && !scrolls(e) && e.getBoundingClientRect().right > width + 1 && !e.querySelector(':scope > *')) say('reaches beyond the screen', e);
}
// A sentence ends in one full stop, and nothing of the program shows through.
for (const odd of document.body.innerText.match(/.{0,40}(?:[^.]\.\.(?!\.)|\bSome\(|undefined|\{\{).{0,20}/g) ?? [])
  problems.push(`reads oddly: ${odd}`);
// Words that run out of the box they are painted in.
for (const e of document.body.querySelectorAll('.button, .key, .plate, .word, .device, td, th, li, dd, legend, label, p, h1, h2, h3')) {
  if (!shown(e) || e.closest('.sr, .skip')) continue;
  if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline') say(`words wider than their box by ${e.scrollWidth - e.clientWidth} px`, e);
}
// Targets: large enough for a mitten on the crew's pages, for a finger elsewhere, and never on top of each other.
const targets = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')].filter(e => shown(e) && !e.closest('.skip'));
const box = e => (e.closest('label.key') ?? e).getBoundingClientRect();
for (const e of targets) {
  const b = box(e), least = crew && e.closest('main') ? 72 : 44;
  if (inSentence(e)) continue;
  if (b.height < least - .5) say(`${b.height.toFixed(1)} px high, at least ${least} wanted`, e);
  if (b.width < 44 - .5) say(`${b.width.toFixed(1)} px wide, at least 44 wanted`, e);
}
for (let i = 0; i < targets.length; i++) for (let j = i + 1; j < targets.length; j++) {
  const [one, two] = [targets[i], targets[j]];
  if (one.contains(two) || two.contains(one)) continue;
  // What stays at the lower edge lies over whatever is scrolled under it; its place in the page is measured without.
  if (one.closest('.stick') || two.closest('.stick')) continue;
  const a = box(one), b = box(two);
  const across = Math.min(a.right, b.right) - Math.max(a.left, b.left), down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
  if (across > 1 && down > 1 && !inSentence(one) && !inSentence(two)) say(`lies over ${(two.textContent || two.name).trim().slice(0, 30)} by ${across.toFixed(0)} x ${down.toFixed(0)} px`, one);
}
// A link in running text is as large as its text (WCAG 2.5.8 excepts it, and so do we).
function inSentence(e) {
  if (e.tagName !== 'A' || getComputedStyle(e).display !== 'inline') return false;
  return [...e.parentElement.childNodes].some(n => n !== e && n.textContent.trim().length > 3);
}
return problems;
