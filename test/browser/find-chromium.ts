import { accessSync, constants, statSync } from 'node:fs';
import { delimiter, join } from 'node:path';

const NAMES = ['chromium', 'chromium-browser', 'google-chrome', 'google-chrome-stable', 'chrome'];
const USUAL_PLACES = [
  '/usr/bin', '/usr/local/bin', '/usr/lib/chromium', '/usr/lib/chromium-browser', '/snap/bin', '/opt/google/chrome',
  '/Applications/Chromium.app/Contents/MacOS/Chromium', '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
  join(process.env.PROGRAMFILES ?? 'C:\\Program Files', 'Google', 'Chrome', 'Application', 'chrome.exe'),
];

/** Path of a Chromium on this machine; undefined where there is none. */
export function findChromium(): string | undefined {
  const folders = [...(process.env.PATH ?? '').split(delimiter), ...USUAL_PLACES].filter((p) => p !== '');
  const candidates = folders.flatMap((folder) => [...NAMES.flatMap((name) => [join(folder, name), join(folder, `${name}.exe`)]), folder]);
  return candidates.find(isProgram);
}

function isProgram(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return statSync(path).isFile();
  } catch {
    return false;
  }
}
