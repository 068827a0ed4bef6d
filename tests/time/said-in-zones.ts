import { instant } from '../../src/time/instant.ts'
import { readDate, readMoment } from '../../src/time/phrases.ts'

/** Prints how phrases are read; started by a test under several zones of the host, which must all print the same. */
const zones = ['Europe/London', 'America/New_York', 'Australia/Lord_Howe', 'Asia/Kathmandu']
const moments = ['2026-03-01T02:10:00Z', '2026-03-29T01:40:00Z', '2026-10-25T01:20:00Z', '2026-07-01T13:05:00Z']
const texts = ['20 minutes ago', 'at 1:30', 'half past nine', 'last night at 10', 'yesterday at 9pm', 'midnight']
const dates = ['3 weeks ago', 'yesterday', 'in August', '3 Aug', 'last week', 'on Friday']

for (const zone of zones) {
  for (const moment of moments) {
    const context = { at: instant(Date.parse(moment)), zone, language: 'en' }
    for (const text of texts) console.log(zone, moment, text, JSON.stringify(readMoment(text, context)))
    for (const text of dates) console.log(zone, moment, text, JSON.stringify(readDate(text, context)))
  }
}
