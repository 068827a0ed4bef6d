/* Without signal, a page that is asked for becomes the kept offline page: holding advice, numbers, "nobody has been told".
   Nothing of a family's messages is ever kept here. */

var KEPT = 'offline-1'

self.addEventListener('install', event => {
  event.waitUntil(keep())
  self.skipWaiting()
})

self.addEventListener('activate', event => {
  event.waitUntil(self.clients.claim())
})

function keep() {
  return caches.open(KEPT).then(cache => cache.add(new Request('/offline', { cache: 'reload' })))
}

self.addEventListener('fetch', event => {
  var request = event.request
  if (request.mode !== 'navigate') return
  if (/^\/(p|board)\b/.test(new URL(request.url).pathname)) return
  event.respondWith(
    fetch(request).then(
      response => {
        event.waitUntil(keep().catch(() => {}))
        return response
      },
      () => caches.match('/offline').then(kept => kept || Response.error()),
    ),
  )
})
