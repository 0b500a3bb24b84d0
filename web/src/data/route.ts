// Addresses of the pages, to and from words.

export type Route =
  | { page: 'study' }
  | { page: 'fish' }
  | { page: 'one_fish'; fish: string; beside: string | null }
  | { page: 'traces'; stay: string | null; spell: number | null }
  | { page: 'findings' }
  | { page: 'one_finding'; finding: string }
  /** a new question, or one of the brief's that is changed */
  | { page: 'ask'; finding: string | null }
  | { page: 'report' }
  | { page: 'watch' }
  /** `key` of the brief: "peak.window_s" */
  | { page: 'set_up'; part: SetUpPart; table: string | null; key?: string }
  | { page: 'unknown'; path: string };

export type SetUpPart = 'steps' | 'files' | 'tables' | 'brief' | 'sensors' | 'paper' | 'type_in' | 'phones';
export const setUpParts: { part: SetUpPart; title: string; tab: string; path: string }[] = [
  { part: 'steps', title: 'Steps', tab: 'Steps', path: '/set-up' },
  { part: 'files', title: 'Bring files in', tab: 'Files', path: '/set-up/files' },
  { part: 'tables', title: 'Tables', tab: 'Tables', path: '/set-up/tables' },
  { part: 'brief', title: 'Brief', tab: 'Brief', path: '/set-up/brief' },
  { part: 'sensors', title: 'Sensors', tab: 'Sensors', path: '/set-up/sensors' },
  { part: 'paper', title: 'Field sheets', tab: 'Paper', path: '/set-up/paper' },
  { part: 'type_in', title: 'Type sheets in', tab: 'Type in', path: '/set-up/paper/type-in' },
  { part: 'phones', title: 'Phones', tab: 'Phones', path: '/set-up/phones' },
];

export type Chapter = 'study' | 'fish' | 'traces' | 'findings' | 'report' | 'set_up' | 'watch';

export const chapters: { chapter: Chapter; title: string; path: string }[] = [
  { chapter: 'study', title: 'Study', path: '/' },
  { chapter: 'fish', title: 'Fish', path: '/fish' },
  { chapter: 'traces', title: 'Traces', path: '/traces' },
  { chapter: 'findings', title: 'Findings', path: '/findings' },
  { chapter: 'report', title: 'Report', path: '/report' },
  { chapter: 'set_up', title: 'Set-up', path: '/set-up' },
  { chapter: 'watch', title: 'Watch', path: '/watch' },
];

/** The word under which a page stands in the top line. */
export function chapterOf(route: Route): Chapter | null {
  switch (route.page) {
    case 'one_fish':
      return 'fish';
    case 'one_finding':
    case 'ask':
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

function setUpRoute(parts: string[]): Route | null {
  const [, part, table, ...more] = parts;
  if (part === 'tables' && table !== undefined) return more.length > 0 ? null : { page: 'set_up', part: 'tables', table };
  if (part === 'brief' && table !== undefined) return more.length > 0 || !/^[a-z_]+(\.[a-z_]+)+$/.test(table) ? null : { page: 'set_up', part: 'brief', table: null, key: table };
  const found = setUpParts.find((each) => each.path === `/${parts.join('/')}`);
  return found ? { page: 'set_up', part: found.part, table: null } : null;
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
      case 'watch':
        return { page: first };
      case 'traces':
        return { page: 'traces', stay: null, spell: null };
      case 'ask':
        return { page: 'ask', finding: null };
      case 'set-up':
        return { page: 'set_up', part: 'steps', table: null };
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
  if (first === 'set-up') return setUpRoute(parts as string[]) ?? unknown;
  if (first === 'ask' && second !== undefined && parts.length === 2) return { page: 'ask', finding: second };
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
    case 'watch':
      return `/${route.page}`;
    case 'one_fish':
      return `/fish/${part(route.fish)}${route.beside === null ? '' : `/beside/${part(route.beside)}`}`;
    case 'traces':
      return `/traces${route.stay === null ? '' : `/${part(route.stay)}${route.spell === null ? '' : `/${route.spell}`}`}`;
    case 'one_finding':
      return `/findings/${part(route.finding)}`;
    case 'ask':
      return `/ask${route.finding === null ? '' : `/${part(route.finding)}`}`;
    case 'set_up': {
      const below = route.table ?? route.key ?? null;
      return `${setUpParts.find((each) => each.part === route.part)?.path ?? '/set-up'}${below === null ? '' : `/${part(below)}`}`;
    }
    case 'unknown':
      return route.path;
  }
}

/** Where a file of the study is changed on the pages; null where it is not. */
export function setUpPathOf(file: string): string | null {
  if (file === 'study.toml') return pathOf({ page: 'set_up', part: 'brief', table: null });
  const table = /^([a-z_]+)\.csv$/.exec(file)?.[1];
  return table === undefined || table === 'refused_rows' ? null : pathOf({ page: 'set_up', part: 'tables', table });
}
