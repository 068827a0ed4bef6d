// Passkeys: asks our own server for what the browser must be asked, and sends back what the browser says. Without this script
// a password signs in.
const bytesOf = text =>
  Uint8Array.from(atob(text.replaceAll('-', '+').replaceAll('_', '/')), sign => sign.charCodeAt(0))
const textOf = buffer =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replaceAll('+', '-')
    .replaceAll('/', '_')
    .replace(/=+$/, '')

const post = async (path, body) => {
  const response = await fetch(path, {
    method: 'POST',
    headers: { 'Content-Type': 'application/json' },
    body: JSON.stringify(body),
  })
  return response.json()
}

const withIds = list => (list ?? []).map(one => ({ ...one, id: bytesOf(one.id) }))

const made = async options => {
  const key = await navigator.credentials.create({
    publicKey: {
      ...options,
      challenge: bytesOf(options.challenge),
      user: { ...options.user, id: bytesOf(options.user.id) },
      excludeCredentials: withIds(options.excludeCredentials),
    },
  })
  return {
    ...outside(key),
    response: {
      clientDataJSON: textOf(key.response.clientDataJSON),
      attestationObject: textOf(key.response.attestationObject),
      transports: key.response.getTransports?.() ?? [],
    },
  }
}

const shown = async options => {
  const key = await navigator.credentials.get({
    publicKey: {
      ...options,
      challenge: bytesOf(options.challenge),
      allowCredentials: withIds(options.allowCredentials),
    },
  })
  return {
    ...outside(key),
    response: {
      clientDataJSON: textOf(key.response.clientDataJSON),
      authenticatorData: textOf(key.response.authenticatorData),
      signature: textOf(key.response.signature),
    },
  }
}

const outside = key => ({ id: key.id, rawId: textOf(key.rawId), type: key.type, clientExtensionResults: {} })

for (const box of document.querySelectorAll('[data-passkey]')) {
  if (!window.PublicKeyCredential) continue
  box.hidden = false
  const button = box.querySelector('button')
  const said = box.querySelector('[role=status]')
  const { path, passkey: what } = box.dataset
  button.addEventListener('click', async () => {
    button.disabled = true
    said.textContent = ''
    try {
      const options = await post(`${path}/options`, {})
      if (options.note !== undefined) throw new Error(options.note)
      const key = what === 'make' ? await made(options) : await shown(options)
      const label = box.querySelector('input')?.value ?? ''
      // The key as one text: fields of a form are texts.
      const { next, note } = await post(path, { key: JSON.stringify(key), label, onward: box.dataset.onward ?? '' })
      if (next !== undefined) location.assign(next)
      else said.textContent = note
    } catch (error) {
      said.textContent = error.name === 'Error' ? error.message : document.body.dataset.passkeyStopped
    }
    button.disabled = false
  })
}
