/**
 * One plain mailbox, as the WHATWG HTML standard defines a "valid e-mail address": a local part of unquoted characters,
 * one "@", and a host name. No display name, no list, no quoting, no comments, so nothing a mail library could read as a
 * second recipient.
 */
const plainMailbox =
  /^[a-zA-Z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[a-zA-Z0-9](?:[a-zA-Z0-9-]{0,61}[a-zA-Z0-9])?(?:\.[a-zA-Z0-9](?:[a-zA-Z0-9-]{0,61}[a-zA-Z0-9])?)*$/

/** Whether `address` is a single plain mailbox of at most 254 characters (the longest RFC 5321 lets through). */
export function isPlainMailbox(address: string): boolean {
  return address.length <= 254 && plainMailbox.test(address)
}
