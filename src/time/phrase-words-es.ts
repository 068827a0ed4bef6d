/** Caregivers' time words in Spanish, made plain: small letters, accents off (ñ as n), hedges as one mark. */
import {
  CHARACTERS_AT_MOST,
  CONTROLS,
  FEED,
  FOUND,
  HEDGE,
  INVISIBLE,
  latinDigits,
  PICTURES,
  RATHER,
  SEEN,
  withoutRepeats,
} from './phrase-words.ts'

/** Stands for "ahora mismo", "hace un momento". */
export const JUST_NOW = 'ahoramismo'
/** Stands for "y pico", "y algo": somewhat more than was said. */
export const AND_MORE = 'pico'

/** Each is applied in this order to the whole text, in small letters without accents. */
const SPELLINGS: readonly (readonly [RegExp, string])[] = [
  [/[’‘ʼ`´']/g, ''],
  [/[‐‑‒–—―−]/g, '-'],
  [/\b([ap])\s?\.?\s?m\b\.?/g, '$1m'],
  [/(\d) 1\/2(?=\s*h)/g, '$1.5'],
  [/(?<![\d/])1\/2(?=\s*h)/g, 'media'],
  [/(?<![\d,])(\d{1,2}),5(?=\s*(?:h|ano|mes|semana|dia))/g, '$1.5'],
  // "No, a las 3" corrects; "no a las 3" may deny, and stays a word that nothing matches.
  [/\bno\s*[,.;:]/g, ` ${RATHER} `],
  [/[~≈]/g, ` ${HEDGE} `],
  [/(\d)([a-z])/g, '$1 $2'],
  [/([a-z])(\d)/g, '$1 $2'],
]

const SIGNS: readonly (readonly [RegExp, string])[] = [
  [/(\d)\s*½/g, '$1.5'],
  [/½/g, ' media '],
  [/(\d)\s*¼/g, '$1.25'],
  [/(\d)\s*¾/g, '$1.75'],
  [/(\d)\s*[°ºª]/g, '$1'],
]

const IN_PLACE = '(?: bien| puesta| puesto| ahi| adentro| dentro| en su lugar)'
const OUT = '(?:fuera|afuera|salida|salido|se salio|salio|suelta|suelto|zafada|zafado|caida|caido)'

/** Applied to the words joined by single spaces, in order; more specific first. */
const PHRASES: readonly (readonly [RegExp, string])[] = [
  [/\bmedia noche\b/g, 'medianoche'],
  [/(?<!\bhace )(?<!\bhace como )(?<!\bcasi )\bmedio dia\b/g, 'mediodia'],
  [/\b(?:antes de ayer|antier|antayer|antiayer)\b/g, 'anteayer'],
  [/\b(?:antes de anoche|antenoche|anteanoche|antier (?:en|por) la noche)\b/g, 'anteanoche'],
  [/\bpor favor\b|\ben punto\b|\bbuenas noches\b/g, ''],
  [/\by (?:pico|piquito|tantos|tantas|algo|fraccion)\b/g, AND_MORE],
  [
    new RegExp(
      `\\b(?:(?:la|lo) )?(?:encontre|encontramos|hallamos|halle|notamos|note|vimos|vi|descubri|(?:me di|nos dimos) cuenta)(?: de)?(?: que)?(?: la| lo| ya| estaba| se| habia)* ${OUT}(?= |$)`,
      'g',
    ),
    FOUND,
  ],
  [/\b(?:(?:la|lo) (?:encontre|encontramos|halle|hallamos)|me di cuenta|nos dimos cuenta)\b/g, FOUND],
  [new RegExp(`\\b(?:ya )?estaba ${OUT}(?= |$)`, 'g'), FOUND],
  [
    new RegExp(
      `\\b(?:la |lo )?ultima vez(?: que)?(?: la| lo| yo| se)*(?: vi| vimos| revise| revisamos| cheque| note| estaba)${IN_PLACE}*(?: fue| era)?(?= )`,
      'g',
    ),
    SEEN,
  ],
  [
    new RegExp(
      `\\b(?:la|lo) (?:vi|vimos|deje|revise|cheque)${IN_PLACE}*(?: por ultima vez)?(?= (?:a |como |hace |por |cerca |anoche|ayer))`,
      'g',
    ),
    SEEN,
  ],
  [new RegExp(`\\b(?:todavia |aun )?(?:estaba|seguia)${IN_PLACE}+(?= )`, 'g'), SEEN],
  [/\b(?:la |por )?ultima vez(?: que)?\b/g, ''],
  [
    /\b(?:durante|mientras|en medio de|a mitad de|a media)(?: la| su| una| estaba| le| corria| pasaba| comia)*(?: toma| formula| alimentacion| comida| leche| bomba| comia)(?: de la noche| nocturna| estaba pasando| pasaba| corria)?(?! \S* ?\d)/g,
    FEED,
  ],
  [/\b(?:no mas de|no mas que|menos que)\b/g, 'menos de'],
  [/\bmas que\b/g, 'mas de'],
  [/\b(?:como mucho|a lo mucho|cuando mucho|a lo mas|como maximo|maximo|max)\b/g, 'maximo'],
  [/\b(?:como minimo|por lo menos|al menos|a lo menos|cuando menos|lo menos|minimo)\b/g, 'minimo'],
  [/\b(?:mejor dicho|perdon|perdone|digo|mas bien|en realidad|corrijo|miento|espere|espera|o sea)\b/g, RATHER],
  [
    /\b(?:no se(?: bien| exactamente| exacto| cuando| a que hora| la hora)*|no estoy segur[oa]|no me acuerdo(?: bien)?|no recuerdo(?: bien)?)\b/g,
    HEDGE,
  ],
  [/\b(?:mas o menos|o algo asi|o por ahi|o asi)\b/g, HEDGE],
  [/\bhar(?:a|an|ia)(?= )/g, `${HEDGE} hace`],
  [
    /\b(?:aproximadamente|aprox|alrededor de|cerca de|a eso de|por ahi de|por ahi|ahi por|ahi como|como|creo que|creo|quizas?|tal vez|a lo mejor|seria|serian|sera|seran|digamos|pongale|ponle|supongo que|supongo|calculo que|calculo|tipo|hacia|sobre|deben? (?:de )?ser|debio ser|debieron ser|ha de ser|habra sido|pudo ser|puede ser)\b/g,
    HEDGE,
  ],
  [/\bpor (?=las? (?:\d|una|dos|tres|cuatro|cinco|seis|siete|ocho|nueve|diez|once|doce))/g, `${HEDGE} `],
  [
    /\bun[oa]s (?=~ |de |\d|dos|tres|cuatro|cinco|seis|siete|ocho|nueve|diez|once|doce|quince|veint|trein|cuaren|cincuen|sesen|noven)/g,
    `${HEDGE} `,
  ],
  [/\buna (?=media hora)/g, `${HEDGE} `],
  [
    /\b(?:ahora mismo|ahorita mismo|justo ahora|en este momento|en este instante|hace nada|hace unos (?:segundos|instantes|momentos)|hace un (?:segundo|segundito|instante|momento|momentito|minutito)|(?:se )?acaba de(?: salir| salirse)?|recien(?!\S* nacid))\b/g,
    JUST_NOW,
  ],
]

const words = (text: string): ReadonlySet<string> => new Set(text.split(' '))

const NOISE = words(
  'si hola gracias pues bueno eh ay dios ya yo se le lo me nos les mi su sus fue fueron era eran es son ha han habia sido ' +
    'que el los eso exacto exactamente apenas justo solo solamente todavia aun doctora doctor enfermera senora senor tengo tenia creo',
)

/** What a caregiver may say happened; carries no time. */
const EVENTS: Readonly<Record<'moment' | 'date' | 'duration', ReadonlySet<string>>> = {
  moment: words(
    'sonda boton tubo tubito peg gastro globo salio salido salirse salir sali zafo zafado safo cayo caido solto solito sola arranco jalo ' +
      'quito desprendio saco paso ocurrio sucedio bebe nino nina hijo hija comio comido comer comida leche formula toma tomo biberon mamila alimento ' +
      'termino acabo dio di dimos dieron empezo panal mojado mojo orino pipi hizo cambie cambio fuera afuera completa',
  ),
  date: words(
    'sonda boton tubo peg gastrostomia gastro primera primer puso pusieron pusimos puesta colocaron coloco hicieron hizo operaron operacion ' +
      'cirugia bebe nino nina hijo hija le la tiene tenemos con',
  ),
  duration: words(
    'edad tiene cumplidos cumplio tardo tarda tardamos tardaria llegar llego llegamos hacemos hago toma queda quedamos esta estamos vivimos lejos ' +
      'viaje camino manejando conduciendo ida nos estoy al hospital aqui casa carro coche auto taxi camion pie hay del',
  ),
}

/**
 * The words of a text, ready for the grammar; undefined when there is nothing to read or far too much. Signs and words that are
 * not known stay, so that no grammar matches them.
 */
export function spanishWordsOf(text: string, question: 'moment' | 'date' | 'duration'): readonly string[] | undefined {
  if (text.length > CHARACTERS_AT_MOST) return undefined
  let plain = text.replace(INVISIBLE, '').replace(CONTROLS, ' ').replace(PICTURES, ' ')
  for (const [sign, meant] of SIGNS) plain = plain.replace(sign, meant)
  plain = latinDigits(plain.normalize('NFKC')).toLowerCase().normalize('NFD').replace(/\p{M}/gu, '')
  for (const [spelling, meant] of SPELLINGS) plain = plain.replace(spelling, meant)
  let joined = (plain.match(/\d+(?:[.:,]\d+)*|\p{L}+|[^\s\d\p{L},;!?()".…¡¿]/gu) ?? []).join(' ')
  if (question === 'duration')
    joined = joined.replace(
      /\b(?:en (?:carro|coche|auto|taxi|camion|bus|metro)|(?:hasta|para|a) (?:el hospital|llegar|urgencias|emergencias)|de (?:aqui|la casa|mi casa|edad)|desde (?:aqui|la casa|mi casa))\b/g,
      '',
    )
  for (const [known, meant] of PHRASES) joined = joined.replace(known, meant)
  const parts = joined.split(' ').filter(part => part !== '')
  const dropped = new Set<number>()
  for (let at = parts.length - 1; at >= 0; at -= 1) {
    const part = parts[at] ?? ''
    const isEvent = EVENTS[question].has(part) && !isCounted(parts, at)
    const isArticle = ARTICLES.has(part) && dropped.has(at + 1) && !NOISE.has(parts[at + 1] ?? '')
    if (NOISE.has(part) || isEvent || isArticle || isStrayLast(parts, at)) dropped.add(at)
  }
  const kept = parts.filter((_, at) => !dropped.has(at))
  return kept.length === 0 ? undefined : withoutRepeats(kept)
}

/** Before a thing that is dropped they belong to it: "la sonda", "de la última toma". */
const ARTICLES = words('la las una de del otra otro')

/** "El último pañal" has no time in it; "en las últimas 2 horas" has. */
function isStrayLast(parts: readonly string[], at: number): boolean {
  if (!/^ultim[oa]s?$/.test(parts[at] ?? '')) return false
  const before = parts.slice(Math.max(0, at - 2), at)
  return !before.some(part => part === 'en' || part === 'dentro' || part === 'durante')
}

const COUNTED = words('toma tomas biberon biberones mamila mamilas panal panales comida comidas bebe')

/** "Después de 2 tomas" is no time: a thing that a number counts stays, and the words are asked about. */
function isCounted(parts: readonly string[], at: number): boolean {
  return COUNTED.has(parts[at] ?? '') && /^(?:\d{1,2}|un|una|dos|tres|cuatro|cinco|seis)$/.test(parts[at - 1] ?? '')
}
