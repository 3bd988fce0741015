// Pages come from the bin's computer while it answers, and from this device while it does not.
"use strict";

const PAGES = "underlid-pages", FILES = "underlid-files", PATIENCE = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(FILES).then((cache) => cache.addAll(KEPT)).then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(self.clients.claim());
});

self.addEventListener("message", (event) => {
  const paths = Array.isArray(event.data?.keep) ? event.data.keep : [];
  const own = paths.filter((path) => typeof path === "string" && path.startsWith("/"));
  event.waitUntil(Promise.all(own.map((path) => keepPage(path).catch(() => undefined))));
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/") || url.pathname === "/manifest.webmanifest") {
    event.respondWith(file(event.request));
  } else if (event.request.mode === "navigate") {
    event.respondWith(pageOf(event, url));
  }
});

async function file(request) {
  const cache = await caches.open(FILES);
  const known = await cache.match(request);
  if (known) return known;
  try {
    const response = await fetch(request);
    if (response.ok) await cache.put(request, response.clone());
    return response;
  } catch (error) {
    const older = await cache.match(request, { ignoreSearch: true }); // of an older page, better than none
    if (older) return older;
    throw error;
  }
}

async function keepPage(path) {
  const response = await fetch(path, { credentials: "same-origin" });
  if (keepable(response)) await (await caches.open(PAGES)).put(path, response);
}

const keepable = (response) =>
  response.ok && !response.redirected && (response.headers.get("Content-Type") || "").startsWith("text/html");

async function pageOf(event, url) {
  const cache = await caches.open(PAGES);
  const known = await cache.match(url.pathname);
  const fresh = fetch(event.request).then(async (response) => {
    if (keepable(response) && !url.search) await cache.put(url.pathname, response.clone());
    return response;
  });
  if (!known) return fresh.catch(() => none());
  event.waitUntil(fresh.catch(() => undefined)); // it may come after our patience
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, known));
  return Promise.race([fresh, late]).catch(() => known);
}

function none() {
  const text =
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">' +
    "<title>No contact</title><h1>No contact with the bin's computer</h1>" +
    '<p>This page was not opened on this phone before. What you wrote down is kept. <a href="/">To the bins</a></p></html>';
  return new Response(text, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}
