// Loaded before the bot with `node --import`: a demonstration then pages receivers outside its process, whose addresses
// stand in RECEIVERS_SMTP_PORT and RECEIVERS_WEBHOOK_URL, so that whoever drives it sees every page as a clinic would.
// Everything else is the bot as it is served: same pagers, same signatures, same outbox.
import { registerHooks } from 'node:module'

const source = `
const smtp = { host: '127.0.0.1', port: Number(process.env.RECEIVERS_SMTP_PORT) }
const webhookUrl = process.env.RECEIVERS_WEBHOOK_URL
export async function openDemoReceivers() {
  return { smtp, webhookUrl, recent: () => [], onReceived: () => () => undefined, stop: async () => undefined }
}
`

registerHooks({
  load(url, context, next) {
    if (!url.endsWith('/src/pagers/demo-receivers.ts')) return next(url, context)
    return { format: 'module', source, shortCircuit: true }
  },
})
