/* Refines the page *Now*: clocks that run, a list that is fresh, a sound when wanted. All of it works without. */
const words = document.body.dataset
const ahead = Number(words.now) - Date.now()
const live = document.getElementById('live')

function count() {
  const at = Date.now() + ahead
  for (const due of live.querySelectorAll('[data-due]')) {
    const minutes = Math.round((Number(due.dataset.due) - at) / 60000)
    if (Math.abs(minutes) <= 90)
      due.textContent = (minutes >= 0 ? words.in : words.over).replace('#', String(Math.abs(minutes)))
  }
}

const codes = root => new Set([...root.querySelectorAll('[data-code]')].map(row => row.dataset.code))

async function refresh() {
  if (document.hidden || live.contains(document.activeElement)) return
  try {
    const answer = await fetch('/now', { headers: { accept: 'text/html' } })
    if (!answer.ok || answer.redirected) return
    const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html').getElementById('live')
    if (fresh === null) return
    const known = codes(live)
    const isNew = [...codes(fresh)].some(code => !known.has(code))
    live.replaceChildren(...fresh.childNodes)
    count()
    if (isNew && chime.checked) sound()
  } catch {
    // Out of reach: the page says as of when it is.
  }
}

const chime = document.getElementById('chime')
let audio
function sound() {
  audio ??= new AudioContext()
  const [tone, loudness] = [audio.createOscillator(), audio.createGain()]
  tone.frequency.value = 660
  loudness.gain.setValueAtTime(0.25, audio.currentTime)
  loudness.gain.exponentialRampToValueAtTime(0.001, audio.currentTime + 1)
  tone.connect(loudness).connect(audio.destination)
  tone.start()
  tone.stop(audio.currentTime + 1)
}
document.getElementById('sound').hidden = false
chime.checked = localStorage.getItem('chime') === 'yes'
chime.addEventListener('change', () => {
  localStorage.setItem('chime', chime.checked ? 'yes' : 'no')
  if (chime.checked) sound()
})

setInterval(count, 5000)
setInterval(refresh, 15000)
document.addEventListener('visibilitychange', refresh)
