// A block of cells as spreadsheets put it on the clipboard: rows by line ends, cells by tabs, quotes around a cell that
// holds either, or a quote.

export function blockOf(text: string): string[][] {
  const rows: string[][] = [];
  let row: string[] = [];
  let at = 0;
  const endRow = () => {
    rows.push(row);
    row = [];
  };
  while (at < text.length) {
    let cell = '';
    if (text[at] === '"') {
      const closing = closingQuote(text, at);
      if (closing !== null) {
        cell = text.slice(at + 1, closing).replaceAll('""', '"');
        at = closing + 1;
      }
    }
    const end = nextEnd(text, at);
    cell += text.slice(at, end);
    row.push(cell);
    at = end;
    if (text[at] === '\t') {
      at += 1;
      if (at === text.length) row.push('');
    } else {
      at += text.startsWith('\r\n', at) ? 2 : 1;
      endRow();
    }
  }
  if (row.length > 0) endRow();
  const wide = Math.max(0, ...rows.map((each) => each.length));
  return rows.map((each) => [...each, ...Array<string>(wide - each.length).fill('')]);
}

/** The quote that ends a quoted cell: it stands before a tab, a line end or the end. */
function closingQuote(text: string, open: number): number | null {
  for (let i = open + 1; i < text.length; ++i) {
    if (text[i] !== '"') continue;
    if (text[i + 1] === '"') ++i;
    else return i + 1 === text.length || /[\t\r\n]/.test(text[i + 1] ?? '') ? i : null;
  }
  return null;
}

function nextEnd(text: string, from: number): number {
  for (let i = from; i < text.length; ++i) if (text[i] === '\t' || text[i] === '\n' || text[i] === '\r') return i;
  return text.length;
}

const quoted = (cell: string): string => (/["\t\r\n]/.test(cell) ? `"${cell.replaceAll('"', '""')}"` : cell);

/** As spreadsheets take it. */
export const blockText = (rows: string[][]): string => rows.map((row) => row.map(quoted).join('\t')).join('\n');
