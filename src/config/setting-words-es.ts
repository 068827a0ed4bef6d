import type { SettingId } from './setting-definitions.ts'
import type { SettingWords } from './setting-words.ts'

/** Not read by a native speaker yet. */
export const spanishSettings: Readonly<Record<SettingId, SettingWords>> = {
  'tract-settled-after': {
    name: 'El canal cuenta como formado después de',
    means:
      'cuánto después de la primera sonda el canal cuenta como formado; las guías van de 1 a 12 semanas; menos de 8 semanas deben firmarlo dos personas del equipo clínico',
  },
  'tract-settled-needs-change': {
    name: 'Formado solo después de un primer cambio',
    means: 'si la sonda también debe haberse cambiado una vez antes de que el canal cuente como formado',
  },
  'first-days': {
    name: 'Reglas estrictas de los primeros días',
    means:
      'cuánto tiempo después de colocarla valen las reglas estrictas de los primeros días; publicado: 72 horas, aquí ampliado',
  },
  'closure-soonest': {
    name: 'La abertura puede empezar a cerrarse después de',
    means: 'qué tan pronto puede empezar a cerrarse la abertura; práctica común, sin fuente',
  },
  'closure-latest': {
    name: 'La sonda debe estar de vuelta antes de',
    means: 'cuándo debe estar de vuelta la sonda; práctica común de 1 a 2 horas, publicado de 2 a 4',
  },
  'closure-overdue': {
    name: 'Se dice al equipo clínico que ya pasó el plazo después de',
    means: 'desde cuándo se dice al equipo clínico que ya pasó el plazo',
  },
  'home-replacement': {
    name: 'Familias enseñadas pueden poner una sonda',
    means: 'si a una familia enseñada se le puede decir que ponga una sonda, cumplido todo lo demás',
  },
  'hold-open-settled': {
    name: 'Familias enseñadas pueden mantener abierto un canal formado',
    means: 'si una familia enseñada puede mantener abierto un canal formado con una sonda más fina',
  },
  'hold-open-new': {
    name: 'Familias enseñadas pueden mantener abierto un canal nuevo',
    means:
      'lo mismo para un canal nuevo; las guías no están de acuerdo; deben firmarlo dos personas del equipo clínico',
  },
  'family-ph': {
    name: 'Familias enseñadas pueden confirmar con pH',
    means:
      'si una familia enseñada puede confirmar con pH antes de pasar fórmula; apagado: confirma una persona del equipo clínico',
  },
  'ph-at-most': { name: 'pH más alto que confirma', means: 'el pH más alto que confirma; publicado de 4 a 5.5' },
  'balloon-loss-ml': { name: 'Agua perdida del globo que cuenta', means: 'pérdida de agua del globo que cuenta' },
  'device-change-due': {
    name: 'Toca cambiar un dispositivo con globo después de',
    means: 'cuándo toca cambiar un dispositivo con globo',
  },
  'flush-ml': { name: 'Agua tibia para lavar', means: 'la menor y la mayor cantidad de agua tibia para lavar' },
  'flush-wait': {
    name: 'Espera antes de lavar otra vez',
    means: 'después de lavar sin destaparla: cuánto se espera antes del único otro intento',
  },
  'fever-under-3-months': {
    name: 'Fiebre con menos de 3 meses',
    means: 'fiebre con menos de 3 meses, desde esta temperatura',
  },
  'fever-3-to-6-months': {
    name: 'Fiebre de 3 a 6 meses',
    means: 'fiebre de 3 a 6 meses, desde esta temperatura',
  },
  'no-urine-page': { name: 'Sin orinar: aviso', means: 'sin orinar tanto tiempo: se avisa' },
  'no-urine-hospital': { name: 'Sin orinar: hospital', means: 'sin orinar tanto tiempo: al hospital' },
  'ladder-urgent': {
    name: 'Pasos de los avisos cuando es urgente',
    means:
      'ambulancia o ir al hospital: otra vez a la misma persona, a la siguiente, a la última y se le dice a la familia',
  },
  'ladder-speak': {
    name: 'Pasos de los avisos cuando alguien debe hablar hoy',
    means: 'hablar hoy: otra vez a la misma persona, a la siguiente, a la última y se le dice a la familia',
  },
  'asked-again-after': {
    name: 'Preguntar otra vez después de una interrupción de',
    means: 'después de una interrupción, se repite una pregunta abierta más vieja que esto',
  },
  'left-check': {
    name: 'Preguntar si ya salieron',
    means: 'después de "vaya al hospital": cuándo se pregunta si ya salieron',
  },
  'left-silent': {
    name: 'Avisar otra vez si una familia no contesta',
    means: 'sin respuesta tanto tiempo después de "vaya al hospital": otro aviso',
  },
  'arrival-grace': {
    name: 'Silencio después de la llegada esperada',
    means: 'después de la llegada esperada: cuánto silencio se deja pasar',
  },
  'promise-grace': {
    name: 'Tiempo después de una llamada prometida',
    means: 'después de una llamada prometida: cuánto se espera antes de avisar otra vez',
  },
  'reading-grade': {
    name: 'Palabras más difíciles permitidas',
    means: 'las palabras más difíciles permitidas, por grado de lectura en inglés',
  },
}
