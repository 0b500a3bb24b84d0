// Addresses of the pages, to and from words.

export type Route =
  | { page: 'study' }
  | { page: 'fish' }
  | { page: 'one_fish'; fish: string; beside: string | null }
  | { page: 'traces'; stay: string | null; spell: number | null }
  | { page: 'findings' }
  | { page: 'one_finding'; finding: string }
  | { page: 'report' }
  | { page: 'unknown'; path: string };

export type Chapter = 'study' | 'fish' | 'traces' | 'findings' | 'report';

export const chapters: { chapter: Chapter; title: string; path: string }[] = [
  { chapter: 'study', title: 'Study', path: '/' },
  { chapter: 'fish', title: 'Fish', path: '/fish' },
  { chapter: 'traces', title: 'Traces', path: '/traces' },
  { chapter: 'findings', title: 'Findings', path: '/findings' },
  { chapter: 'report', title: 'Report', path: '/report' },
];

/** The word under which a page stands in the top line. */
export function chapterOf(route: Route): Chapter | null {
  switch (route.page) {
    case 'one_fish':
      return 'fish';
    case 'one_finding':
      return 'findings';
    case 'unknown':
      return null;
    default:
      return route.page;
  }
}

function decoded(part: string): string | null {
  try {
    return decodeURIComponent(part);
  } catch {
    return null;
  }
}

export function routeOf(path: string): Route {
  const unknown: Route = { page: 'unknown', path };
  const parts = path.split('/').filter((part) => part !== '').map(decoded);
  if (parts.includes(null)) return unknown;
  const [first, second, third, fourth] = parts as string[];
  if (parts.length === 0) return { page: 'study' };
  if (parts.length === 1) {
    switch (first) {
      case 'fish':
      case 'findings':
      case 'report':
        return { page: first };
      case 'traces':
        return { page: 'traces', stay: null, spell: null };
    }
    return unknown;
  }
  if (first === 'fish' && second !== undefined) {
    if (parts.length === 2) return { page: 'one_fish', fish: second, beside: null };
    if (parts.length === 4 && third === 'beside' && fourth !== undefined) return { page: 'one_fish', fish: second, beside: fourth };
  }
  if (first === 'traces' && second !== undefined && parts.length <= 3) {
    if (third === undefined) return { page: 'traces', stay: second, spell: null };
    const spell = Number(third);
    if (/^\d+$/.test(third) && spell > 0) return { page: 'traces', stay: second, spell };
  }
  if (first === 'findings' && second !== undefined && parts.length === 2) return { page: 'one_finding', finding: second };
  return unknown;
}

export function pathOf(route: Route): string {
  const part = encodeURIComponent;
  switch (route.page) {
    case 'study':
      return '/';
    case 'fish':
    case 'findings':
    case 'report':
      return `/${route.page}`;
    case 'one_fish':
      return `/fish/${part(route.fish)}${route.beside === null ? '' : `/beside/${part(route.beside)}`}`;
    case 'traces':
      return `/traces${route.stay === null ? '' : `/${part(route.stay)}${route.spell === null ? '' : `/${route.spell}`}`}`;
    case 'one_finding':
      return `/findings/${part(route.finding)}`;
    case 'unknown':
      return route.path;
  }
}
