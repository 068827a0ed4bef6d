/**
 * What a first message may say that a shipped flow does not yet act on before it asks, so that a rule would not hold where no other trouble
 * is named with it. It is not walked, and every check says so: an entry goes when the flow has a row for it. In the bot the words of pain on feeding
 * and of a medicine that is due name a trouble of their own, which comes first or is asked about next.
 */
export const NOT_WALKED: Readonly<Record<string, readonly string[]>> = {
  balloon: ['pain-on-feed', 'critical-medicine-due'],
  bleeding: ['critical-medicine-due'],
  broken: ['pain-on-feed', 'critical-medicine-due'],
  clogged: ['replaced', 'flush', 'pain-on-feed', 'critical-medicine-due'],
  'feed-trouble': ['temperature', 'critical-medicine-due'],
  leaking: ['critical-medicine-due'],
  medicine: ['replaced', 'pain-on-feed'],
  skin: ['temperature', 'pain-on-feed', 'critical-medicine-due'],
  'tube-moved': ['pain-on-feed', 'critical-medicine-due'],
  'tube-out': ['replaced'],
}
