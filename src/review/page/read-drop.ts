/** Files of a drop with their paths inside the folders that were dropped. */
export async function readDrop(data: DataTransfer): Promise<File[]> {
  const entries = [...data.items].map((item) => item.webkitGetAsEntry?.()).filter((e): e is FileSystemEntry => Boolean(e));
  if (!entries.length) return [...data.files];
  return (await Promise.all(entries.map((entry) => readEntry(entry, '')))).flat();
}

async function readEntry(entry: FileSystemEntry, folder: string): Promise<File[]> {
  if (entry.isFile) {
    const file = await new Promise<File>((resolve, reject) => { (entry as FileSystemFileEntry).file(resolve, reject); });
    // As a chosen folder has it: the study is drafted from these paths.
    if (folder) Object.defineProperty(file, 'webkitRelativePath', { value: `${folder}${entry.name}` });
    return [file];
  }
  const reader = (entry as FileSystemDirectoryEntry).createReader();
  const found: File[] = [];
  for (;;) {
    // A folder is told in portions, the last of which is empty.
    const part = await new Promise<FileSystemEntry[]>((resolve, reject) => { reader.readEntries(resolve, reject); });
    if (!part.length) return found;
    for (const each of part) found.push(...await readEntry(each, `${folder}${entry.name}/`));
  }
}
