-- Writes everything of a chat that is carried over, unless it is there.
-- KEYS: prefix of the shard. ARGV: fence, channel, chat, then commands, each as the number of its words, its name, the end of
-- its key, and the rest of its words.
local shard = KEYS[1]
if redis.call('HGET', shard .. 'owner', 'fence') ~= ARGV[1] then return 'fenced' end
if redis.call('EXISTS', shard .. 'chat:' .. ARGV[2] .. '\n' .. ARGV[3]) == 1 then return 'there' end
local at = 4
while at <= #ARGV do
  local words = tonumber(ARGV[at])
  redis.call(ARGV[at + 1], shard .. ARGV[at + 2], unpack(ARGV, at + 3, at + words))
  at = at + words + 1
end
return 'written'
