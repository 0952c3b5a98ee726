import { describe, expect, it } from 'vitest';
import { readLabels } from '../../src/table/labels.js';

const HEAD = 'bird,onset_s,offset_s';

describe('label files', () => {
  it('keeps further columns as text and the order of the file', () => {
    expect(readLabels(`id,${HEAD},snr_db\n0,red,5.5,5.75,12\n1,none,1,1.5,\n`)).toEqual([
      { bird: 'red', onsetSec: 5.5, offsetSec: 5.75, extra: { id: '0', snr_db: '12' } },
      { bird: 'none', onsetSec: 1, offsetSec: 1.5, extra: { id: '1', snr_db: '' } },
    ]);
  });

  it.each([
    ['a byte order mark and CRLF', `\uFEFF${HEAD}\r\nred,1,2\r\n`],
    ['semicolons', 'bird;onset_s;offset_s\nred;1;2\n'],
    ['tabs and blanks', 'bird\tonset_s\toffset_s\n red \t1.0\t 2e0\n'],
    ['quotes and empty rows', '"bird","onset_s","offset_s"\n\n"red","1","2"\n,,\n'],
    ['no line end', `${HEAD}\nred,1,2`],
  ])('reads %s', (_, text) => expect(readLabels(text)).toEqual([{ bird: 'red', onsetSec: 1, offsetSec: 2, extra: {} }]));

  it('may hold no labels', () => expect(readLabels(`${HEAD}\n`)).toEqual([]));

  it.each<[string, string, string[]]>([
    ['an empty file', '', ['is empty', 'bird, onset_s, offset_s']],
    ['a missing column', 'bird,onset_s\nred,1\n', ['row 1', 'offset_s is missing', '"bird", "onset_s"']],
    ['a column twice', `${HEAD},bird\nred,1,2,red\n`, ['"bird" is there twice']],
    ['a word for a time', `${HEAD}\nred,1,2\nred,soon,2\n`, ['row 3 column onset_s', 'got "soon"']],
    ['NaN', `${HEAD}\nred,NaN,2\n`, ['row 2 column onset_s', 'got "NaN"']],
    ['an infinite time', `${HEAD}\nred,1,1e999\n`, ['row 2 column offset_s']],
    ['a hexadecimal time', `${HEAD}\nred,0x10,20\n`, ['row 2 column onset_s']],
    ['an empty time', `${HEAD}\nred,,2\n`, ['row 2 column onset_s', 'got ""']],
    ['a negative time', `${HEAD}\nred,-1,2\n`, ['row 2 column onset_s', 'got "-1"', '0 or more']],
    ['a decimal comma', 'bird;onset_s;offset_s\nred;1,5;2\n', ['row 2 column onset_s', 'got "1,5"', 'decimal point']],
    ['an end before the start', `${HEAD}\nred,2,1\n`, ['row 2 column offset_s', 'ends before it starts']],
    ['a call without length', `${HEAD}\nred,2,2\n`, ['row 2 column offset_s']],
    ['a label twice', `${HEAD}\nred,1,2\nblue,1,2\nred,1.0,2\n`, ['row 4', 'same call as in row 2']],
    ['no bird', `${HEAD}\n,1,2\n`, ['row 2 column bird']],
    ['too few fields', `${HEAD}\nred,1\n`, ['row 2', 'got 2', 'expected 3']],
    ['too many fields', `${HEAD}\nred,1,2,3\n`, ['row 2', 'got 4']],
    ['an open quotation mark', `${HEAD}\n"red,1,2\n`, ['row', 'quotation mark']],
    ['a binary file', 'RIFF\0\0', ['is not a text file']],
  ])('says what is wrong with %s', (_, text, parts) => {
    for (const part of ['"t.csv"', ...parts]) expect(() => readLabels(text, 't.csv')).toThrow(part);
  });
});
