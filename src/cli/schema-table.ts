/** Tables of a reference page from a schema: what may stand in a file, in words. */
import { z } from 'zod'

/** The part of JSON Schema (draft 2020-12) that the schemas of the flow language come out as. */
interface Shape {
  readonly type?: string | readonly string[]
  readonly description?: string
  readonly const?: unknown
  readonly enum?: readonly unknown[]
  readonly default?: unknown
  readonly pattern?: string
  readonly properties?: Readonly<Record<string, Shape>>
  readonly required?: readonly string[]
  readonly items?: Shape
  readonly prefixItems?: readonly Shape[]
  readonly additionalProperties?: Shape | boolean
  readonly propertyNames?: Shape
  readonly anyOf?: readonly Shape[]
}

/**
 * A Markdown table of the keys that may stand in one map of a file.
 *
 * @param schema  the schema of the file
 * @param path    from the file to the map: a key of a map, or `*` for every value of a map with free keys or of a list
 * @throws Error when the schema has no map there, so that no page silently loses a table
 */
export function keysTable(schema: z.ZodType, path: readonly string[] = []): string {
  const shape = shapeAt(z.toJSONSchema(schema, { io: 'input' }) as Shape, path)
  if (shape.properties === undefined) throw new Error(`the schema has no map with named keys at "${path.join('.')}"`)
  const required = new Set(shape.required)
  const rows = Object.entries(shape.properties).map(([key, value]) => {
    const needed = required.has(key) ? 'yes' : value.default === undefined ? 'no' : `no: \`${String(value.default)}\``
    return `| \`${key}\` | ${needed} | ${kindText(value)} | ${cell(value.description ?? '')} |`
  })
  return ['| key | needed | what stands there | meaning |', '|---|---|---|---|', ...rows].join('\n')
}

/** What a schema refuses of a value beyond the shape of each key, in its own words. */
export function refusals(schema: z.ZodType, value: unknown): readonly string[] {
  const read = schema.safeParse(value)
  return read.success ? [] : read.error.issues.filter(issue => issue.code === 'custom').map(issue => issue.message)
}

/** A text that may stand in a cell of a table. */
export function cell(text: string): string {
  return text.replaceAll('|', '\\|').replaceAll('<', '&lt;').replace(/\s+/g, ' ').trim()
}

function shapeAt(shape: Shape, path: readonly string[]): Shape {
  const [first, ...rest] = path
  if (first === undefined) return shape
  const inner = first === '*' ? valuesOf(shape) : shape.properties?.[first]
  if (inner === undefined) throw new Error(`the schema has nothing at "${first}"`)
  return shapeAt(inner, rest)
}

function valuesOf({ items, additionalProperties }: Shape): Shape | undefined {
  return items ?? (typeof additionalProperties === 'object' ? additionalProperties : undefined)
}

function kindText(shape: Shape): string {
  if (shape.anyOf !== undefined) return shape.anyOf.map(kindText).join(', or ')
  if (shape.const !== undefined) return code(shape.const)
  if (shape.enum !== undefined) return shape.enum.map(code).join(', ')
  if (shape.prefixItems !== undefined) return `[${shape.prefixItems.map(kindText).join(', ')}]`
  if (typeof shape.type === 'object') return shape.type.join(' or ')
  switch (shape.type) {
    case 'string':
      return shape.pattern === undefined ? 'text' : shape.pattern.includes('shared') ? 'step' : 'id'
    case 'boolean':
      return 'true or false'
    case 'array':
      return `list: ${kindText(shape.items ?? {})}`
    case 'object':
      return shape.properties === undefined ? `map: id to ${kindText(valuesOf(shape) ?? {})}` : 'a map, see below'
    default:
      return shape.type ?? 'anything'
  }
}

const code = (value: unknown): string => `\`${String(value)}\``
