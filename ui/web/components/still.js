// Whether the page is settled. The server answers every message with the page that the browser shows at
// that moment. So a link waits until anything typed just before it has been processed (Streamlit sends that
// slightly later than the link, and drops it if both arrive together), and a component's own message waits
// until the next page has arrived: otherwise the user would be taken back to the page just left.
const LONGEST_WAIT_MS = 10000, LINK_MS = 20, LONGEST_LINK_MS = 2500, PHONE_PX = 768;
const way = (window.__ropeWay ??= (() => {
  const way = {title: '', until: 0, open: new Set()};      // open: functions that say whether something is pending
  const leave = () => Object.assign(way, {title: document.title, until: Date.now() + LONGEST_WAIT_MS});
  const shutMenu = link => {                               // on a phone the menu covers the page
    if (innerWidth <= PHONE_PX) link.closest('[data-testid=stSidebar]')?.querySelector('[data-testid=stSidebarCollapseButton] button')?.click();
  };
  const follow = (link, since) => setTimeout(() => {
    const waits = [...way.open].some(one => one());
    if (waits && Date.now() - since < LONGEST_LINK_MS) return follow(link, since);
    link.click();
    shutMenu(link);
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

