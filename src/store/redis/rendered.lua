-- Keeps the text of a claimed row before it is sent. A row already settled keeps what it has.
-- KEYS: prefix of the shard. ARGV: fence, effect id, text, at.
local shard = KEYS[1]
local fence, id, text, at = unpack(ARGV)
local key = shard .. 'row:' .. id
local status = redis.call('HGET', key, 'status')
if not status then return 'missing' end
if redis.call('HGET', shard .. 'owner', 'fence') ~= fence then return 'fenced' end
if status == 'waiting' then
  redis.call('SET', shard .. 'text:' .. id, text)
  redis.call('HSET', key, 'rendered', at)
end
return 'kept'
