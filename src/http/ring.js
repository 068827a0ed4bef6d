/* After "Ringing now": opens the phone once, as if the large number had been tapped. Without script one taps it. */
const ring = document.getElementById('ring')
if (ring && /[?&]now\b/.test(location.search)) {
  history.replaceState(null, '', location.pathname)
  location.href = ring.href
}
