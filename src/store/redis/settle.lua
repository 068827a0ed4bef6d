-- Ends a claim. That a row was sent is true whoever says it, so it counts from a process that has lost its shard too: the
-- one that took over then does not send it again. The rest is the owner's to say.
-- KEYS: prefix of the shard. ARGV: fence, effect id, kind, instant, unknown, reason, tries ('' for any).
local shard = KEYS[1]
local fence, id, kind, instant, unknown, reason, tries = unpack(ARGV)
local key = shard .. 'row:' .. id
local row = redis.call('HMGET', key, 'status', 'tries', 'lane', 'queue', 'place')
if not row[1] then return 'missing' end
if kind ~= 'sent' and redis.call('HGET', shard .. 'owner', 'fence') ~= fence then return 'fenced' end
if row[1] ~= 'waiting' then return 'settled' end
if kind ~= 'sent' and tries ~= '' and tries ~= row[2] then return 'superseded' end

local lane, member = row[3], row[5] .. id
local queue = shard .. 'queue:' .. lane .. ':' .. row[4]
local is_head = redis.call('LINDEX', queue, 0) == id
redis.call('ZREM', shard .. 'leased:' .. lane, member)
redis.call('HDEL', key, 'leased')
if kind == 'again' then
  redis.call('HSET', key, 'due', instant)
  if unknown == '1' then redis.call('HSET', key, 'unknown', 1) end
  if is_head then redis.call('ZADD', shard .. 'waiting:' .. lane, instant, member) end
  return 'settled'
end

redis.call('HSET', key, 'status', kind, 'settled', instant)
if kind == 'given-up' then redis.call('HSET', key, 'reason', reason) end
redis.call('ZREM', shard .. 'waiting:' .. lane, member)
redis.call('LREM', queue, 1, id)
if is_head then
  local next_id = redis.call('LINDEX', queue, 0)
  if next_id then
    local next_row = redis.call('HMGET', shard .. 'row:' .. next_id, 'due', 'place')
    redis.call('ZADD', shard .. 'waiting:' .. lane, next_row[1], next_row[2] .. next_id)
  end
end
return 'settled'
