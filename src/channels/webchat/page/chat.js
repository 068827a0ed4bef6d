/* The chat without reloads. Plain ES2015, no words of its own: they stand on <body data-…>. Everything here can fail
   or be switched off, and the page still works by form posts. */
;(() => {
  var body = document.body
  var words = body.dataset
  var log = document.getElementById('log')
  var QUIET_MS = 45000 // no heartbeat for so long: the stream is dead
  var REST_MS = 1000 // a shaking hand's second tap never answers the next question
  var TRY_AGAIN_MS = 5000
  var QUEUE = 'unsent'

  var queue = readQueue()
  var isSending = false
  var isRefreshing = false
  var refreshAgain = false
  var version = words.version || ''
  var stream = null
  var heardAt = Date.now()
  var hiddenAt = document.hidden ? Date.now() : 0
  var tappedAt = 0
  var tappedButton = ''
  var restUntil = 0 // answers are taken again from here on
  var clicked = null

  body.classList.add('live')

  /* ---- what was tapped ---- */

  document.addEventListener(
    'click',
    event => {
      var button = event.target instanceof Element ? event.target.closest('button') : null
      if (!button) return
      if (button.getAttribute('aria-disabled') === 'true') {
        event.preventDefault()
        return
      }
      clicked = button
    },
    true,
  )

  document.addEventListener('submit', event => {
    var form = event.target
    if (form.getAttribute('method') !== 'post' || !/\/say$/.test(form.action)) return
    event.preventDefault()
    var button = event.submitter || clicked
    if (button && button.form !== form) button = null
    var now = Date.now()
    if (!form.hasAttribute('data-write') && isSecondTap(form, button, now)) return
    var tap = tapOf(form, button)
    if (!tap) return
    tappedAt = now
    tappedButton = button ? labelOf(button) : ''
    restUntil = now + REST_MS
    clicked = null
    queue.push({ nonce: freshNonce(), madeAt: now, fields: tap.fields, label: tap.label })
    saveQueue()
    showUnsent()
    restButtons(form)
    var box = form.querySelector('[name=text]')
    if (box) box.value = ''
    flush()
  })

  /* An answer within the rest, or the same button again. "Talk to a person" right after an answer is meant. */
  function isSecondTap(form, button, now) {
    if (form.elements.namedItem('serial') || (button && button.name === 'concern')) return now < restUntil
    return now - tappedAt < REST_MS && (button ? labelOf(button) : '') === tappedButton
  }

  function tapOf(form, button) {
    var fields = {}
    var values = []
    var labels = []
    Array.prototype.forEach.call(form.elements, field => {
      if (!field.name || field.name === 'nonce') return
      if (field.type === 'checkbox') {
        if (!field.checked) return
        values.push(field.value)
        labels.push(labelOf(field.parentNode))
      } else if (field.tagName !== 'BUTTON') {
        fields[field.name] = field.value
        if (field.name === 'text') labels.push(field.value)
      }
    })
    if (button && button.name === 'value') {
      values.push(button.value)
      labels.push(labelOf(button))
    } else if (button !== null && button.name !== '') {
      fields[button.name] = button.value
      labels = [labelOf(button)]
    }
    if ('serial' in fields) {
      if (values.length === 0) {
        form.submit() // the server says what is missing
        return null
      }
      fields.values = values
    }
    return { fields: fields, label: labels.join(', ') }
  }

  function labelOf(element) {
    return element.getAttribute('aria-label') || element.textContent.trim()
  }

  function freshNonce() {
    var bytes = new Uint8Array(16)
    crypto.getRandomValues(bytes)
    return Array.prototype.map.call(bytes, byte => `0${byte.toString(16)}`.slice(-2)).join('')
  }

  /* ---- sending, in order, once ---- */

  function flush() {
    if (isSending || queue.length === 0) return
    isSending = true
    showUnsent()
    var item = queue[0]
    var message = Object.assign({}, item.fields, { nonce: item.nonce, agoMs: Math.max(0, Date.now() - item.madeAt) })
    withTimeout(
      fetch('/say', {
        method: 'POST',
        credentials: 'same-origin',
        headers: { 'Content-Type': 'application/json', Accept: 'application/json' },
        body: JSON.stringify(message),
      }),
      15000,
    ).then(
      response => {
        isSending = false
        if (response.ok) {
          drop(item)
          refresh(true)
          flush()
        } else if (response.status >= 500 || response.status === 429) {
          // It is sent again by itself. Why it was not taken, and what to do meanwhile, is said until it is.
          response.json().then(
            answer => {
              item.why = answer.words
              later()
            },
            () => {
              later()
            },
          )
        } else {
          drop(item)
          response.json().then(
            answer => {
              showRefused(item.label, answer.words || words.refused)
            },
            () => {
              showRefused(item.label, words.refused)
            },
          )
        }
      },
      () => {
        isSending = false
        later()
      },
    )
  }

  function later() {
    showUnsent()
    setTimeout(flush, TRY_AGAIN_MS)
  }

  function drop(item) {
    queue = queue.filter(other => other !== item)
    saveQueue()
    showUnsent()
  }

  function withTimeout(promise, ms) {
    return Promise.race([
      promise,
      new Promise((_, reject) => {
        setTimeout(reject, ms, new Error('no answer'))
      }),
    ])
  }

  /* Kept for this tab alone and only until sent: a phone that drops the page must not lose a tap. */
  function readQueue() {
    try {
      return JSON.parse(sessionStorage.getItem(QUEUE)) || []
    } catch (_) {
      return []
    }
  }

  function saveQueue() {
    try {
      if (queue.length === 0) sessionStorage.removeItem(QUEUE)
      else sessionStorage.setItem(QUEUE, JSON.stringify(queue))
    } catch (_) {
      /* storage refused: the tap still waits in this page */
    }
  }

  function unsentPlace() {
    var place = document.getElementById('unsent')
    if (place) return place
    place = document.createElement('div')
    place.id = 'unsent'
    place.setAttribute('role', 'status')
    var main = document.getElementById('main')
    main.insertBefore(place, main.querySelector('h1').nextSibling)
    return place
  }

  function showUnsent() {
    var place = unsentPlace()
    var old = place.querySelectorAll('[data-waiting]')
    Array.prototype.forEach.call(old, line => {
      place.removeChild(line)
    })
    queue.forEach((item, i) => {
      var isOnTheWay = i === 0 && isSending
      addLine(place, item.label, item.why || (isOnTheWay ? words.sending : words.unsent)).setAttribute(
        'data-waiting',
        '',
      )
    })
    if (queue.length > 0 && navigator.onLine === false) {
      addLine(place, '', words.offline).setAttribute('data-waiting', '')
    }
  }

  function showRefused(label, why) {
    addLine(unsentPlace(), label, why)
  }

  function addLine(place, label, text) {
    var line = document.createElement('p')
    line.textContent = (label ? `“${label.slice(0, 200)}” ` : '') + text
    place.appendChild(line)
    return line
  }

  /* ---- reading the log ---- */

  function refresh(isOwn) {
    if (isRefreshing) {
      refreshAgain = true
      return
    }
    isRefreshing = true
    withTimeout(
      fetch('/log', {
        credentials: 'same-origin',
        cache: 'no-store',
        headers: version ? { 'If-None-Match': `"${version}"` } : {},
      }),
      10000,
    )
      .then(response => {
        if (response.status === 304 || !response.ok) return null
        var fresh = (response.headers.get('ETag') || '').replace(/"/g, '')
        var language = response.headers.get('Content-Language')
        if (language && language !== document.documentElement.lang) {
          location.reload() // the family went on in another language: the whole page speaks it
          return null
        }
        return response.text().then(markup => {
          show(markup, fresh, isOwn)
        })
      })
      .then(done, done)

    function done() {
      isRefreshing = false
      if (refreshAgain) {
        refreshAgain = false
        refresh(isOwn)
      }
    }
  }

  function show(markup, fresh, isOwn) {
    var next = new DOMParser().parseFromString(markup, 'text/html')
    var nextLog = next.getElementById('log')
    if (nextLog.children.length === 0 && !next.querySelector('.ask')) return
    if (!log) {
      location.reload() // the first screen becomes the log
      return
    }
    version = fresh
    var added = mergeLines(nextLog)
    mergeNow(next.getElementById('now'), isOwn)
    if (added.length > 0) {
      if (added.length > 1 && hiddenAt && !isOwn) markAway(added[0])
      added[added.length - 1].scrollIntoView(true)
    }
  }

  /* Only what is new is added, so that a screen reader hears each line once. */
  function mergeLines(nextLog) {
    var added = []
    var known = {}
    Array.prototype.forEach.call(log.children, line => {
      known[line.getAttribute('data-key')] = line
    })
    Array.prototype.slice.call(nextLog.children).forEach(line => {
      var old = known[line.getAttribute('data-key')]
      if (old) delete known[line.getAttribute('data-key')]
      line = document.importNode(line, true)
      if (!old) {
        log.appendChild(line)
        added.push(line)
      } else if (withoutNonces(old) !== withoutNonces(line)) {
        log.replaceChild(line, old)
      }
    })
    return added
  }

  function withoutNonces(line) {
    return line.innerHTML.replace(/name="nonce" value="[^"]*"/g, '')
  }

  function mergeNow(next, isOwn) {
    var now = document.getElementById('now')
    var focus = document.activeElement
    var wasInside = now.contains(focus)
    var box = now.querySelector('[name=text]')
    var draft = box ? box.value : ''
    var wasWriting = focus === box
    var wasOpen = isOpen(now)
    var oldSerial = serialOf(now)
    var sameQuestion = oldSerial === serialOf(next)
    if (sameQuestion) keepTicks(now, next)
    next = document.importNode(next, true)
    now.parentNode.replaceChild(next, now)
    var freshBox = next.querySelector('[name=text]')
    if (freshBox) freshBox.value = draft
    var answers = next.querySelector('#answers')
    if (answers && wasOpen) answers.open = true
    if (!sameQuestion && Date.now() - tappedAt < 30000) restUntil = Date.now() + REST_MS
    restButtons(next) // what is drawn anew in the middle of a rest goes on resting
    if (!wasInside) return
    var heading = next.querySelector('#question')
    if (wasWriting && freshBox && !isOwn) freshBox.focus({ preventScroll: true })
    else if (heading && !sameQuestion) heading.focus({ preventScroll: true })
    else if (freshBox) freshBox.focus({ preventScroll: true })
  }

  function isOpen(place) {
    var answers = place.querySelector('#answers')
    return answers ? answers.open : false
  }

  function serialOf(place) {
    var ask = place.querySelector('.ask')
    return ask ? ask.getAttribute('data-serial') : ''
  }

  function keepTicks(now, next) {
    Array.prototype.forEach.call(now.querySelectorAll('input:checked'), ticked => {
      Array.prototype.forEach.call(next.querySelectorAll('input[type=checkbox]'), box => {
        if (box.value === ticked.value) box.setAttribute('checked', '')
      })
    })
  }

  /* Buttons rest for a second after a tap, the next question's too. Nothing changes its look. */
  function restButtons(place) {
    var left = restUntil - Date.now()
    if (left <= 0) return
    var buttons = place.querySelectorAll('.ask button, button[name=concern]')
    if (place.tagName === 'FORM') buttons = place.querySelectorAll('button')
    Array.prototype.forEach.call(buttons, button => {
      button.setAttribute('aria-disabled', 'true')
    })
    setTimeout(() => {
      Array.prototype.forEach.call(buttons, button => {
        button.removeAttribute('aria-disabled')
      })
    }, left)
  }

  function markAway(line) {
    var old = log.querySelector('.away')
    if (old) log.removeChild(old)
    var heading = document.createElement('p')
    heading.className = 'away'
    heading.setAttribute('data-key', 'away')
    heading.textContent = words.away
    log.insertBefore(heading, line)
  }

  /* ---- knowing that there is something new ---- */

  function listen() {
    if (!window.EventSource) return
    if (stream) stream.close()
    stream = new EventSource(`/stream?seen=${encodeURIComponent(version)}`)
    heardAt = Date.now()
    stream.addEventListener('log', () => {
      heardAt = Date.now()
      refresh(false)
    })
    stream.addEventListener('beat', () => {
      heardAt = Date.now()
    })
  }

  function wake() {
    refresh(false)
    flush()
    listen()
    setTimeout(() => {
      hiddenAt = 0
    }, 5000)
  }

  document.addEventListener('visibilitychange', () => {
    if (document.hidden) hiddenAt = Date.now()
    else wake()
  })
  window.addEventListener('pageshow', event => {
    if (event.persisted) wake()
  })
  window.addEventListener('online', wake)
  window.addEventListener('offline', showUnsent)

  setInterval(() => {
    if (document.hidden) return
    var isQuiet = !stream || stream.readyState === 2 || Date.now() - heardAt > QUIET_MS
    if (!isQuiet) return
    refresh(false)
    listen()
  }, 15000)

  if (queue.length > 0) showUnsent()
  listen()
  flush()
  const last = log ? log.lastElementChild : null
  if (last) last.scrollIntoView(true)

  if ('serviceWorker' in navigator && window.isSecureContext) {
    navigator.serviceWorker.register('/worker.js').catch(() => {})
  }
})()
