// Whether the page stands still. Whatever is said to the server is answered with the page that the browser
// shows at that moment. So a link waits until what was typed just before it was dealt with (Streamlit sends
// that a moment later than the link, and forgets it where both come at once), and what a component says by
// itself waits until the next page has come: else the person is brought back to the page that they left.
const LONGEST_WAIT_MS = 10000, LINK_MS = 20, LONGEST_LINK_MS = 2500;
const way = (window.__ropeWay ??= (() => {
  const way = {title: '', until: 0, open: new Set()};      // open: what says whether something is not dealt with
  const leave = () => Object.assign(way, {title: document.title, until: Date.now() + LONGEST_WAIT_MS});
  const follow = (link, since) => setTimeout(() => {
    const waits = [...way.open].some(one => one());
    waits && Date.now() - since < LONGEST_LINK_MS ? follow(link, since) : link.click();
  }, LINK_MS);
  document.addEventListener('click', event => {
    const link = event.target.closest?.('[data-testid=stPageLink] a[href]');
    if (!link || !event.isTrusted || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (link.pathname !== location.pathname) leave();
    follow(link, Date.now());
  }, true);
  addEventListener('popstate', leave);
  return way;
})());
const still = since => Date.now() - since > LONGEST_WAIT_MS || !(
  (Date.now() < way.until && document.title === way.title) ||
  document.querySelector('[data-test-script-state=running]'));

