const TOKEN = /\s*(?:([{}[\],:])|("(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*")|(-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?(?![\w.])|true\b|false\b|null\b))/y;

/**
 * Index of the first character at which a text stops being JSON (RFC 8259), or -1. The message of JSON.parse differs between engines
 * and often has no place in it.
 */
export function findJsonError(text: string): number {
  const stack: ('{' | '[')[] = [];
  let expect: 'value' | 'value-or-end' | 'key' | 'key-or-end' | 'colon' | 'comma-or-end' | 'nothing' = 'value';
  let at = 0;
  const afterValue = (): typeof expect => (stack.length > 0 ? 'comma-or-end' : 'nothing');
  for (;;) {
    TOKEN.lastIndex = at;
    const match = TOKEN.exec(text);
    const start = at + /^\s*/.exec(text.slice(at, at + 10000))![0].length;
    if (!match) return expect === 'nothing' && start >= text.length ? -1 : start;
    const [, mark, string] = match;
    const wantsValue = expect === 'value' || expect === 'value-or-end';
    if (expect === 'nothing') return start;
    if (mark === '{' && wantsValue) { stack.push('{'); expect = 'key-or-end'; }
    else if (mark === '[' && wantsValue) { stack.push('['); expect = 'value-or-end'; }
    else if (mark === '}' && stack.at(-1) === '{' && (expect === 'key-or-end' || expect === 'comma-or-end')) { stack.pop(); expect = afterValue(); }
    else if (mark === ']' && stack.at(-1) === '[' && (expect === 'value-or-end' || expect === 'comma-or-end')) { stack.pop(); expect = afterValue(); }
    else if (mark === ',' && expect === 'comma-or-end') expect = stack.at(-1) === '{' ? 'key' : 'value';
    else if (mark === ':' && expect === 'colon') expect = 'value';
    else if (string !== undefined && (expect === 'key' || expect === 'key-or-end')) expect = 'colon';
    else if (mark === undefined && wantsValue) expect = afterValue();
    else return start;
    at = TOKEN.lastIndex;
  }
}

/** 'line 3, column 12' of an index into a text, both counted from 1. */
export function describePlace(text: string, index: number): string {
  const before = text.slice(0, index).split('\n');
  return `line ${before.length}, column ${before[before.length - 1].length + 1}`;
}
