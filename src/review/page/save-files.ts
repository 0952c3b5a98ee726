type FolderHandle = { name: string; getFileHandle(name: string, options: { create: boolean }): Promise<{ createWritable(): Promise<{ write(text: string): Promise<void>; close(): Promise<void> }> }> };

/** Saves texts as files: into a folder that the person chooses where the browser can, else as downloads. Returns what was done, in words. */
export async function saveFiles(texts: Record<string, string>): Promise<string> {
  const pick = (globalThis as { showDirectoryPicker?: (options: object) => Promise<FolderHandle> }).showDirectoryPicker;
  const names = Object.keys(texts);
  if (pick && !document.documentElement.hasAttribute('data-downloads')) {
    const folder = await pick({ mode: 'readwrite', id: 'volary' });
    for (const name of names) {
      const file = await (await folder.getFileHandle(name, { create: true })).createWritable();
      await file.write(texts[name]);
      await file.close();
    }
    return `${names.length} files written to ${folder.name}.`;
  }
  for (const name of names) {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([texts[name]], { type: 'text/plain' }));
    link.download = name;
    link.click();
    // Several downloads in one turn are taken for one.
    await new Promise((resolve) => { setTimeout(resolve, 120); });
  }
  return `${names.length} files downloaded.`;
}
