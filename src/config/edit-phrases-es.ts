import type { EditPhrases } from './edit-phrases.ts'

const listed = (words: readonly string[]): string => {
  const last = words.at(-1) ?? ''
  if (words.length < 2) return last
  // "y" is "e" before the sound of an i.
  return `${words.slice(0, -1).join(', ')} ${/^h?i(?![aeo])/i.test(last) ? 'e' : 'y'} ${last}`
}
const noMore = (was: string | undefined): string => (was === undefined ? '' : `, ya no ${was}`)
const andMore = (more: number): string => (more > 0 ? ` y ${more} más` : '')

const DAYS: Readonly<Record<string, string>> = {
  monday: 'lunes',
  tuesday: 'martes',
  wednesday: 'miércoles',
  thursday: 'jueves',
  friday: 'viernes',
  saturday: 'sábado',
  sunday: 'domingo',
}
const dayText = (day: string): string => DAYS[day] ?? day

const SECTIONS: Readonly<Record<string, string>> = {
  changes: 'un cambio de guardia',
  swaps: 'un canje',
  leave: 'una ausencia',
}

const NUMBERS: Readonly<Record<string, string>> = {
  emergency: 'de emergencias',
  'families-ring': 'de la clínica',
  transport: 'de transporte',
}

/** Not read by a native speaker yet. */
export const spanishPhrases: EditPhrases = {
  locale: 'es',
  listed,
  nobody: 'nadie',
  cover: ({ who, role, from, until, instead }) =>
    `${who} está de guardia como "${role}" desde ${from} hasta ${until}${instead.length === 0 ? '' : ` en lugar de ${listed(instead)}`}`,
  swap: ({ to, of, role, from, until }) =>
    `${to} toma el turno de ${of} como "${role}" desde ${from}${until === undefined ? '' : ` hasta ${until}`}`,
  inReturn: ({ to, of, role, from }) => `, y ${of} toma el de ${to} como "${role}" desde ${from}`,
  leave: ({ who, from, until, holes, more }) =>
    `${who} no está desde ${from} hasta ${until}, y ${holes.length === 0 ? 'no queda ningún turno libre' : `entonces nadie está de guardia como ${listed(holes)}${andMore(more)} hasta que alguien lo cubra`}`,
  hole: (role, from, until) => `"${role}" desde ${from} hasta ${until}`,
  takenBack: (line, section) => `Se retira ${SECTIONS[section] ?? section} (número ${line} de la lista)`,
  backTo: (who, role, from, until) => `: ${who} está de guardia como "${role}" desde ${from} hasta ${until}`,
  privateNumber: (who, had, now) =>
    `El número privado de ${who} ${had === undefined ? 'es' : `cambia de ${had} a`} ${now}`,
  pageAddress: (who, pager, address, had) =>
    `A ${who} se le avisa por ${pager ?? 'otro medio'} en ${address}${had === undefined ? '' : `, ya no en ${had}`}`,
  setting: (name, was, value) => `El ajuste "${name}" ${was === undefined ? 'es' : `cambia de ${was} a`} ${value}`,
  hours: (day, value, was) =>
    `La clínica ${value === 'closed' ? 'cierra' : 'abre'} el ${dayText(day)}${value === 'closed' ? '' : ` ${value}`}${noMore(was)}`,
  date: (day, value, was) =>
    `El ${day} la clínica ${value === 'closed' ? 'está cerrada' : `abre ${value}`}${noMore(was === 'closed' ? 'cerrada' : was)}`,
  retention: (value, was) => `Los casos cerrados se guardan ${value}${noMore(was)}`,
  hospitalNumber: (hospital, had, now) =>
    `El número al que llaman las familias en ${hospital} cambia de ${had} a ${now}`,
  familiesNumber: (which, had, now) =>
    `El número ${NUMBERS[which] ?? which} que ven las familias cambia de ${had} a ${now}`,
  weekly: ({ day, from, to, role, who }) =>
    `${day === 'holiday' ? 'Los días festivos' : `Cada ${dayText(day)}`} desde las ${from} hasta las ${to} "${role}" es ${who}`,
  shiftOut: ({ day, role, shift }) =>
    `Se quita el turno ${shift} de "${role}" ${day === 'holiday' ? 'en días festivos' : `del ${dayText(day)}`}`,
  roleNew: ({ from, to, role, who }) =>
    `Hay una guardia nueva, "${role}": ${who} cada día desde las ${from} hasta las ${to}; no se avisa a nadie por ella hasta que esté en el orden de los avisos`,
  calendar: ({ role, shifts, host, until }) =>
    `"${role}" sigue ${host === undefined ? 'un calendario que se toma una sola vez' : `el calendario en vivo de ${host}`}: ${shifts} ${shifts === 1 ? 'turno' : 'turnos'}${until === undefined ? '' : `, el último hasta ${until}`}`,
  calendarStop: role =>
    `Ya no se mira el calendario en vivo de "${role}", y los turnos que se leyeron de él siguen contando`,
  calendarOut: role => `"${role}" ya no sigue ningún calendario, y vuelve a contar su semana`,
  order: (before, after) => `El orden de los avisos era: ${before}. Será: ${after}`,
  onCallAs: role => `quien está de guardia como "${role}"`,
  whileOpen: 'mientras la clínica está abierta',
  whileClosed: 'mientras está cerrada',
  between: (from, to) => `de ${from} a ${to}`,
  told: names => `se avisa a ${listed(names)}`,
  nobodyTold: 'no se avisa a nadie',
  everyFamilySees: 'todas las familias lo ven enseguida',
  noNight: 'no cambia ninguna noche',
  nights: (count, shown, more) =>
    `${count === 1 ? 'cambia un día' : `cambian ${count} días`}: ${shown.join(', ')}${andMore(more)}`,
}
