/**
 * Numbers and names that are kept for fiction and documents. They ring nobody and lead nowhere: a clinic may not use
 * them, a demonstration may use nothing else.
 *
 * Telephone ranges are from memory of what the bodies named publish; none was read again for this table. A range that is
 * missing lets a made-up number pass as real; one too many refuses a number that rings, and says so at the start. The
 * Swedish range (+46 8 465 004 xx) is left out on purpose: tests of a clinic that is no demonstration use it.
 */
export interface FictionRange {
  /** Matches the whole number in E.164. */
  readonly matches: RegExp
  readonly means: string
  /** Who keeps it; all from memory. */
  readonly keptBy: string
}

export const fictionRanges: readonly FictionRange[] = [
  {
    matches: /^\+1[2-9]\d{2}55501\d{2}$/,
    means: '555-0100 to 555-0199 of any area code',
    keptBy: 'North American Numbering Plan Administrator',
  },
  {
    matches: /^\+44(11[3-8]|1[2-6]1)4960\d{3}$/,
    means: '0113 to 0118, 0121, 0131, 0141, 0151 and 0161, each 496 0000 to 0999',
    keptBy: 'Ofcom, numbers for drama',
  },
  {
    matches: /^\+44(2079460|1914980|2896496|2920180|1632960)\d{3}$/,
    means: '020 7946 0xxx, 0191 498 0xxx, 028 9649 6xxx, 029 2018 0xxx, 01632 960xxx',
    keptBy: 'Ofcom, numbers for drama',
  },
  {
    matches: /^\+44(7700900|8081570|9098790|3069990)\d{3}$/,
    means: '07700 900xxx, 0808 157 0xxx, 0909 879 0xxx, 0306 999 0xxx',
    keptBy: 'Ofcom, numbers for drama',
  },
  {
    matches: /^\+61[2378](5550|7010)\d{4}$/,
    means: '5550 xxxx and 7010 xxxx of 02, 03, 07 and 08',
    keptBy: 'Australian Communications and Media Authority, numbers for film and television',
  },
  {
    matches: /^\+61(49157(0006|015[6-9]|0110|0313|0737|1266|1491|1804)|1[38]00975(70[7-9]|71[01])|1800160401)$/,
    means: '0491 570 006, 570 110, 570 156 to 159 and others; 1800 and 1300 975 707 to 711; 1800 160 401',
    keptBy: 'Australian Communications and Media Authority, numbers for film and television',
  },
  {
    matches: /^\+33(19900|26191|35301|46571|53649|63998)\d{4}$/,
    means: '01 99 00, 02 61 91, 03 53 01, 04 65 71, 05 36 49 and 06 39 98, each xx xx',
    keptBy: 'French regulator of telecommunications (ARCEP), numbers for works of fiction',
  },
  {
    matches: /^\+49(3023125|6990009|4066969|2214710|8999998)\d{3}$/,
    means: '030 23125, 069 90009, 040 66969, 0221 4710 and 089 99998, each xxx',
    keptBy: 'German network agency (Bundesnetzagentur), numbers for media',
  },
]

/** Whether a number in E.164 is kept for fiction. */
export const isForFiction = (number: string): boolean => fictionRanges.some(({ matches }) => matches.test(number))

/**
 * Names kept for tests and documents by RFC 2606 and RFC 6761.
 *
 * @param name  a host, or a mail address
 */
export const isReservedName = (name: string): boolean =>
  /(^|[@.])(test|example|invalid|localhost|example\.(com|net|org))\.?$/i.test(name)

/** A host that is this machine itself: nothing that is sent there reaches anybody. */
export const isLoopback = (host: string): boolean =>
  /^(localhost|127(\.\d{1,3}){3}|0\.0\.0\.0|\[?::1?\]?)$|\.localhost$/i.test(host)
