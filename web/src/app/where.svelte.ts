// The page that is shown, by the address; links of ours change it without a reload.
import { pathOf, routeOf, type Route } from '../data/route';

class Where {
  route = $state.raw<Route>(routeOf(location.pathname));

  start(): void {
    addEventListener('popstate', () => (this.route = routeOf(location.pathname)));
    document.addEventListener('click', (event) => {
      if (event.defaultPrevented || event.button !== 0 || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
      const link = (event.target as Element | null)?.closest?.('a');
      if (!link || link.target !== '' || link.hasAttribute('download') || link.origin !== location.origin) return;
      if (link.pathname.startsWith('/api/') || (link.hash !== '' && link.pathname === location.pathname)) return;
      event.preventDefault();
      this.go(routeOf(link.pathname));
    });
  }

  /** To another page: it begins at its top, with its heading in focus. */
  go(route: Route): void {
    history.pushState(null, '', pathOf(route));
    this.route = route;
    scrollTo(0, 0);
    requestAnimationFrame(() => document.querySelector<HTMLElement>('main h1')?.focus({ preventScroll: true }));
  }

  /** The same page with another thing chosen on it: no step of the history, no jump. */
  turn(route: Route): void {
    history.replaceState(null, '', pathOf(route));
    this.route = route;
  }
}

export const where = new Where();
