/** The page's frame. Everything else is built by the script, so that one page serves both ways. */
export type PageMode = 'server' | 'files';

/** What the page may do: its own script, style and worker, WebAssembly, and nothing of the network but its own server. */
export function describePolicy(mode: PageMode): string {
  const own = mode === 'server' ? "'self'" : "'self' file:";
  return [
    "default-src 'none'", `script-src ${own} 'wasm-unsafe-eval'`, 'worker-src blob:', `style-src ${own}`, 'img-src blob: data:', 'media-src blob:',
    `connect-src ${mode === 'server' ? "'self'" : "'none'"}`, "base-uri 'none'", "form-action 'none'", ...(mode === 'server' ? ["frame-ancestors 'none'"] : []),
  ].join('; ');
}

/** The HTML document. Without a server the policy stands in the document itself: nothing can leave the computer. */
export function buildShell(mode: PageMode): string {
  const policy = mode === 'files' ? `<meta http-equiv="Content-Security-Policy" content="${describePolicy(mode)}">\n` : '';
  return `<!doctype html>
<html lang="en" data-mode="${mode}">
<head>
<meta charset="utf-8">
${policy}<meta name="viewport" content="width=device-width,initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>Volary</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="page.css">
<script src="page.js" defer></script>
</head>
<body><noscript>This page needs JavaScript: it draws spectrograms and plays sound in your browser.</noscript></body>
</html>
`;
}
