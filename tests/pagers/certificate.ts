import { createPrivateKey, generateKeyPairSync, sign } from 'node:crypto'

/** DER (ITU-T X.690): tag, length, content. */
const der = (tag: number, ...content: readonly Buffer[]): Buffer => {
  const body = Buffer.concat(content)
  const { length } = body
  const size = length < 128 ? [length] : length < 256 ? [0x81, length] : [0x82, length >> 8, length & 255]
  return Buffer.concat([Buffer.from([tag, ...size]), body])
}
const sequence = (...content: readonly Buffer[]) => der(0x30, ...content)
const hex = (tag: number, digits: string) => der(tag, Buffer.from(digits, 'hex'))
const bits = (content: Buffer) => der(0x03, Buffer.from([0]), content)
const time = (text: string) => der(0x18, Buffer.from(text))

/**
 * A certificate that signs itself (RFC 5280) for a host and 127.0.0.1, with its key, both in PEM, made anew for
 * every run: one kept in the repository would expire.
 */
export function selfSignedCertificate(host = 'localhost'): { readonly key: string; readonly cert: string } {
  const { publicKey, privateKey } = generateKeyPairSync('ec', { namedCurve: 'P-256' })
  const ecdsaWithSha256 = sequence(hex(0x06, '2a8648ce3d040302'))
  const name = sequence(der(0x31, sequence(hex(0x06, '550403'), der(0x0c, Buffer.from(host)))))
  const names = sequence(der(0x82, Buffer.from(host)), der(0x87, Buffer.from([127, 0, 0, 1])))
  const subjectAltName = sequence(hex(0x06, '551d11'), der(0x04, names))
  const basicConstraints = sequence(hex(0x06, '551d13'), hex(0x01, 'ff'), der(0x04, sequence(hex(0x01, 'ff'))))
  const toSign = sequence(
    der(0xa0, hex(0x02, '02')),
    hex(0x02, '01'),
    ecdsaWithSha256,
    name,
    sequence(time('20200101000000Z'), time('20991231235959Z')),
    name,
    publicKey.export({ type: 'spki', format: 'der' }),
    der(0xa3, sequence(subjectAltName, basicConstraints)),
  )
  const key = privateKey.export({ type: 'pkcs8', format: 'pem' }).toString()
  const whole = sequence(toSign, ecdsaWithSha256, bits(sign('sha256', toSign, createPrivateKey(key))))
  const lines = whole.toString('base64').match(/.{1,64}/g) ?? []
  return { key, cert: ['-----BEGIN CERTIFICATE-----', ...lines, '-----END CERTIFICATE-----', ''].join('\n') }
}
