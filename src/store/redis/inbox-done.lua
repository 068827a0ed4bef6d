-- Ends what was kept, with an answer for whoever put it, which waits for a minute.
-- KEYS: prefix of the shard. ARGV: fence, id, answer.
local shard = KEYS[1]
local fence, id, answer = unpack(ARGV)
if redis.call('HGET', shard .. 'owner', 'fence') ~= fence then return 'fenced' end
if redis.call('HDEL', shard .. 'inbox', id) == 1 then
  redis.call('LREM', shard .. 'inbox-order', 1, id)
  redis.call('SET', shard .. 'answer:' .. id, answer, 'PX', 60000)
end
return 'done'
