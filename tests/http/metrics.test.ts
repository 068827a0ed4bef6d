import { describe, expect, it } from 'vitest'
import { metricsText, serveMetrics } from '../../src/http/metrics.ts'
import { DOUBTS, type Health } from '../../src/runtime/watch-health.ts'
import { instant } from '../../src/time/instant.ts'

const health: Health = {
  ok: false,
  doubts: [{ what: 'store-silent', since: instant(0) }],
  queued: 3,
  pagesInFlight: 1,
  repliesInFlight: 2,
  untold: 4,
  sinceLookMs: { pages: 500, replies: 1_000, alarms: 250 },
  sharing: {
    ...{ owned: 8, shards: 16, processes: 2, alone: 5 },
    replicas: { wanted: 1, connected: 0, missingMs: 9_000 },
  },
}
const figures = { memoryBytes: 1_000, aliveSeconds: 60 }

describe('the figures for Prometheus', () => {
  // Prometheus documentation, "Exposition formats", text format 0.0.4: HELP and TYPE once, before the samples of a name; a
  // name is [a-zA-Z_:][a-zA-Z0-9_:]*; the last line ends with a line feed; counters end in _total by its naming practice.
  it('are in its text format, each with its meaning', () => {
    const text = metricsText(health, figures)
    expect(text.endsWith('\n')).toBe(true)
    let described = ''
    for (const line of text.trimEnd().split('\n')) {
      const help = /^# HELP (\S+) .{15,}$/.exec(line)
      const type = /^# TYPE (\S+) (gauge|counter)$/.exec(line)
      const sample = /^([a-zA-Z_:][a-zA-Z0-9_:]*)(\{[a-z]+="[a-z-]+"\})? -?[0-9.]+$/.exec(line)
      if (help !== null) described = help[1] ?? ''
      else if (type !== null) {
        expect(type[1]).toBe(described)
        expect(described.endsWith('_total')).toBe(type[2] === 'counter')
      } else expect(sample?.[1], line).toBe(described)
    }
    expect(text).toContain('\nsmallhours_ok 0\n')
    expect(text).toContain('\nsmallhours_doubt{what="store-silent"} 1\n')
    expect(text).toContain('\nsmallhours_loop_since_look_seconds{loop="pages"} 0.5\n')
    expect(text).toContain('\nsmallhours_shards_owned 8\n')
    expect(text).toContain('\nsmallhours_replicas_wanted 1\n')
    expect(text).toContain('\nsmallhours_replicas_connected 0\n')
    expect(text.match(/smallhours_doubt\{/g)).toHaveLength(DOUBTS.length)
  })

  it('say nothing of shares where the cases lie in a file', () => {
    const { sharing: _sharing, ...alone } = health
    expect(metricsText(alone, figures)).not.toContain('shards')
  })

  it('are served to this machine at one path, and 503 where they cannot be worked out', async () => {
    let fails = false
    const server = await serveMetrics(0, async () => {
      if (fails) throw new Error('no')
      return metricsText(health, figures)
    })
    const get = (path: string) => fetch(`http://127.0.0.1:${server.port}${path}`)
    const answer = await get('/metrics')
    expect(answer.headers.get('content-type')).toBe('text/plain; version=0.0.4; charset=utf-8')
    expect(await answer.text()).toBe(metricsText(health, figures))
    expect((await get('/')).status).toBe(404)
    fails = true
    expect((await get('/metrics')).status).toBe(503)
    await server.stop()
  })
})
