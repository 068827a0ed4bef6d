-- Everything of a chat, in the order its cases were opened: each as its id, its fields, its events, their instants, and its
-- rows as effect id, fields and text.
-- KEYS: prefix of the shard. ARGV: channel, chat.
local shard = KEYS[1]
local cases = {}
for i, case in ipairs(redis.call('LRANGE', shard .. 'chat:' .. ARGV[1] .. '\n' .. ARGV[2], 0, -1)) do
  local rows = {}
  for j, id in ipairs(redis.call('LRANGE', shard .. 'rows:' .. case, 0, -1)) do
    rows[j] = { id, redis.call('HGETALL', shard .. 'row:' .. id), redis.call('GET', shard .. 'text:' .. id) }
  end
  cases[i] = {
    case,
    redis.call('HGETALL', shard .. 'case:' .. case),
    redis.call('LRANGE', shard .. 'events:' .. case, 0, -1),
    redis.call('LRANGE', shard .. 'instants:' .. case, 0, -1),
    rows,
  }
end
return cases
