/** A number in groups, so that it can be read aloud: `+12025550147` as `+1 202 555 0147`, others in threes. */
export function numberText(number: string): string {
  const american = /^\+1(\d{3})(\d{3})(\d{4})$/.exec(number)
  if (american !== null) return `+1 ${american.slice(1).join(' ')}`
  return number.replace(/(\d{3})(?=\d{2,})/g, '$1 ').trim()
}
